"""The page for the customer and the bench record: what stands in it, escaped, accessible, alone; the command that writes it."""

import dataclasses
import re
from html.parser import HTMLParser
from pathlib import Path

import pytest

import weaklink as wl
from weaklink import html_report
from weaklink.cli import main

# WCAG 2.1, success criteria 1.4.3 (text) and 1.4.11 (graphics)
TEXT_CONTRAST, GRAPHIC_CONTRAST = 4.5, 3.0
VOID = {"meta", "br", "line", "circle", "rect", "path", "polygon", "polyline"}


class Reader(HTMLParser):
    """Tags in order with their attributes, the text inside each section, and whether every tag is closed."""

    def __init__(self, text):
        super().__init__(convert_charrefs=True)
        self.tags, self.open, self.text, self.headings = [], [], {}, []
        self.feed(text)

    def handle_starttag(self, tag, attributes):
        self.tags.append((tag, dict(attributes)))
        if tag not in VOID:
            self.open.append((tag, dict(attributes)))
        if re.fullmatch("h[1-6]", tag):
            self.headings.append([int(tag[1]), ""])

    def handle_startendtag(self, tag, attributes):
        self.tags.append((tag, dict(attributes)))

    def handle_endtag(self, tag):
        assert self.open and self.open[-1][0] == tag, (tag, self.open[-3:])
        self.open.pop()

    def handle_data(self, data):
        for _, attributes in self.open:
            if name := attributes.get("aria-label"):
                self.text[name] = self.text.get(name, "") + data
        if self.open and re.fullmatch("h[1-6]", self.open[-1][0]):
            self.headings[-1][1] += data


@pytest.fixture
def sheet(jobs):
    return (jobs / "gritty-right-on-records.toml").read_text(), (jobs / "gritty-right-on-records.csv").read_text()


def job_of(sheet, more=""):
    return wl.Job.from_text(sheet[0], readings=("gritty-right-on-records.csv", sheet[1] + more))


CLEANED = "after cleaning,source selector / phono,right,<0.1 mV,dry box,,,\nafter cleaning,speaker relay / a,left,12 mV,1 A drop,,,\n"


def test_the_customer_reads_what_was_found_done_proved_not_tested_and_the_price(sheet):
    text = html_report.page(job_of(sheet, CLEANED), price="120 in all", done=["Coil voltage of the relay checked."], not_tested=["The tuner's aerial."])
    read = Reader(text)
    half = read.text["For the customer"]
    for words in (
        "The right channel sounds gritty on phono; it is clean on tuner.",
        "The left channel is clean on phono and tuner.",
        "The source selector (contact “phono”) can cause this; that is not a proof yet.",
        "Source selector (contact “phono”): cleaned and measured again.",
        "Coil voltage of the relay checked.",
        "Good when measured, so ruled out unless it fails for moments: tape monitor (contact “source”).",
        "The tuner's aerial.",
        "120 in all",
        "phono stage and moving magnet",
    ):
        assert words in half, words
    assert [name for level, name in read.headings if level == 2][:6] == [
        "What was found", "What was done", "What is proved", "What was not tested", "Price", "Please note",
    ]  # fmt: skip
    # as found and after, side by side
    rows = re.search(r"<th scope=\"row\">speaker relay[^<]*</th><td>([^<]*)</td><td>([^<]*)</td>", text)
    # read with one ampere, so not dry: at least 57 milliohm is no proof that it is in order; nor is what the work left
    assert rows.groups() == ("too coarse to say", "too coarse to say")
    assert 'contact “phono”), right</th><td>not in order</td><td>too coarse to say</td>' in text
    assert "As found" in half and "After" in half


def test_no_ohms_for_the_customer_unless_wanted(sheet):
    plain = Reader(html_report.page(job_of(sheet, CLEANED))).text["For the customer"]
    assert "ohm" not in plain and "%" not in plain and "mV" not in plain
    wanted = Reader(html_report.page(job_of(sheet, CLEANED), ohms=True)).text["For the customer"]
    assert "9.92 to 899 ohm" in wanted and "below 15.3 ohm" in wanted


def test_a_proof_and_a_fault_without_a_suspect_are_told_as_such(jobs):
    proved = Reader(html_report.page(wl.load_job(jobs / "two-faults.toml"))).text["For the customer"]
    assert "The cause is the speaker relay (contact “a”)." in proved
    assert "Speaker relay (contact “a”), left: a lead clipped across it brought clean sound back: proved." in proved
    innocent = Reader(html_report.page(wl.load_job(jobs / "innocent-contacts.toml"))).text["For the customer"]
    assert "No contact that was measured is known to cause this; the power stage is the most likely cause by what is usual, not a proof yet." in innocent
    assert "The cause itself is not proved." in innocent
    # able by its ohms, and not likely: both are said
    control = Reader(html_report.page(wl.load_job(jobs / "crackling-control.toml"))).text["For the customer"]
    assert "The volume control (contact “wiper”) could cause this, but the line stage, which is no contact, is more likely" in control


def test_the_bench_record_has_everything(sheet):
    job = job_of(sheet, CLEANED)
    answer, seen = wl.assess(job), wl.evidence(job)
    text = html_report.page(job)
    record = Reader(text).text["Bench record"]
    for line in answer.headlines:
        assert line.says in record and line.because in record
    for finding in answer.findings:
        assert f"{finding.contact}, {finding.channel}: {finding.kind}" in record
        assert all(reason in record for reason in finding.reasons)
    assert record.count("dry box") >= sum(r.method == "dry box" for r in seen.readings)
    for part in (*answer.assumes, *answer.cautions, *(s.what for s in answer.next_steps), *(r.test for r in answer.rivals), *(t.means for t in answer.typical)):
        assert part in record, part
    assert f"weaklink {wl.__version__}, typical values {wl.TYPICAL_VERSION}; seed 0, 100000 draws; their priors are assumptions" in record
    # the sheet and the readings as they were written
    assert job.text in record and job.readings[1] in record
    assert text.count("<svg ") == 3


def test_every_text_of_the_sheet_is_escaped(sheet):
    evil = '<script>alert(1)</script><img src=x onerror=alert(2)>&"\''
    toml = sheet[0].replace("Gritty on records, right channel only (invented)", evil.replace('"', '\\"')).replace("speaker relay", "<b>relay")
    csv = sheet[1].replace("speaker relay", "<b>relay").replace(",wanders,", ",<i>wanders</i>,")
    job = wl.Job.from_text(toml, readings=("gritty-right-on-records.csv", csv))
    text = html_report.page(job, done=["<u>done</u>"], not_tested=["<s>no</s>"], price="<em>1</em>", ohms=True)
    tags = {tag for tag, _ in Reader(text).tags}
    assert not tags & {"script", "img", "b", "i", "u", "s", "em"}
    assert "&lt;script&gt;" in text and "&lt;i&gt;wanders&lt;/i&gt;" in text and "&lt;u&gt;done" in text
    # nothing that a browser would fetch or run
    names = {name for _, attributes in Reader(text).tags for name in attributes}
    assert not {name for name in names if name.startswith("on") or name in ("src", "href", "srcset", "action", "style")}
    style = re.search("<style>(.*?)</style>", text, flags=re.S).group(1)
    assert not re.search(r"url\(|@import|https?:", style) and "<link" not in text


def test_it_can_be_read_without_seeing_it(sheet):
    text = html_report.page(job_of(sheet, CLEANED))
    read = Reader(text)
    assert not read.open
    levels = [level for level, _ in read.headings]
    # no level of headings is left out on the way down
    assert levels[0] == 1 and all(b - a <= 1 for a, b in zip(levels, levels[1:], strict=False))
    html = next(attributes for tag, attributes in read.tags if tag == "html")
    assert html["lang"] == "en" and any(tag == "main" for tag, _ in read.tags)
    ids = [attributes["id"] for _, attributes in read.tags if "id" in attributes]
    assert len(ids) == len(set(ids))
    for tag, attributes in read.tags:
        if tag == "svg":
            assert attributes["role"] == "img" and set(attributes["aria-labelledby"].split()) <= set(ids)
        if tag == "th":
            assert attributes["scope"] in ("row", "col")
        if attributes.get("class") == "wide":
            assert attributes["tabindex"] == "0" and attributes["role"] == "region" and attributes["aria-label"]
    described = re.search(r'<desc id="readings-d">([^<]*)', text).group(1)
    assert "source selector / phono, right: as found 6.2 mV (dry box)" in described
    assert "phono socket / pin, left: as found 300 mohm (my meter, not dry)" in described


def test_colours_have_contrast_in_light_dark_and_print():
    css = (Path(html_report.__file__).with_name("page.css")).read_text()

    def luminance(colour):
        digits = colour.lstrip("#")
        digits = "".join(2 * d for d in digits) if len(digits) == 3 else digits
        parts = [int(digits[k : k + 2], 16) / 255 for k in (0, 2, 4)]
        linear = [c / 12.92 if c <= 0.03928 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    def contrast(a, b):
        low, high = sorted((luminance(a), luminance(b)))
        return (high + 0.05) / (low + 0.05)

    themes = re.findall(r":root \{([^}]*)\}", css)
    assert len(themes) == 3
    for theme in themes:
        colour = dict(re.findall(r"--(\w+): (#[0-9a-f]+)", theme))
        for text in ("ink", "muted", "strong", "warn"):
            assert contrast(colour[text], colour["paper"]) >= TEXT_CONTRAST
        assert contrast(colour["ink"], colour["card"]) >= TEXT_CONTRAST
        # lines and marks drawn over the band
        for mark in ("strong", "warn"):
            assert contrast(colour[mark], colour["band"]) >= GRAPHIC_CONTRAST


def test_a_probability_is_shown_once_an_assessment_gives_one(sheet):
    job = job_of(sheet)
    answer = wl.assess(job, draws=0)
    assert "nothing was drawn at random: no seed." in html_report.page(job, assessment=answer)
    assert "chance left" not in html_report.page(job, assessment=answer)

    def given(finding):
        able = finding.kind == "able to account for it"
        return dataclasses.replace(finding, probability=0.73 if able else 0.002, probability_se=0.011 if able else 0.001)

    text = html_report.page(job, assessment=dataclasses.replace(answer, findings=tuple(map(given, answer.findings))))
    assert "<td>73 % +- 1.1 %</td>" in text and "<td>&lt;1 %</td>" in text and "chance right" in text
    # chances that are not calibrated are nothing for the customer
    assert "73" not in Reader(text).text["For the customer"]


def test_the_command_writes_the_page_beside_its_answer(jobs, tmp_path, capsys):
    file = tmp_path / "page.html"
    job = str(jobs / "gritty-right-on-records.toml")
    assert main(["assess", job]) == 0
    plain = capsys.readouterr().out
    assert main(["assess", job, "--report", str(file), "--done", "Cleaned.", "--price", "90", "--not-tested", "Tuner.", "--ohms"]) == 0
    assert capsys.readouterr().out == plain
    expected = html_report.page(wl.load_job(job), done=["Cleaned."], not_tested=["Tuner."], price="90", ohms=True)
    assert file.read_text(encoding="utf-8") == expected and [p.name for p in tmp_path.iterdir()] == ["page.html"]


def test_bad_input_leaves_no_file_and_says_what(jobs, tmp_path, capsys):
    job = str(jobs / "gritty-right-on-records.toml")
    assert main(["assess", job, "--price", "90"]) == 2
    assert "--price" in (told := capsys.readouterr().err) and "--report FILE.html" in told
    assert main(["assess", job, "--report", str(tmp_path / "no" / "page.html")]) == 1
    assert "page.html" in capsys.readouterr().err
    (tmp_path / "bad.toml").write_text("sheet = 2\n")
    assert main(["assess", str(tmp_path / "bad.toml"), "--report", str(tmp_path / "page.html")]) == 2
    assert [p.name for p in tmp_path.iterdir()] == ["bad.toml"]


def test_the_ear_is_shown_a_loud_and_a_quiet_passage(sheet, jobs):
    from weaklink import hearing, page_heard

    # 1 % of 85 dB is 45 dB, in 25 thirds 31 dB each
    loud, quiet = page_heard.passages(0.01)
    assert loud.bands_db == pytest.approx(85 - 40 - 13.979, abs=1e-3) and quiet.bands_db == pytest.approx(45 - 40 - 13.979, abs=1e-3)
    # the same ratio beside either: it is the maskers that go, and with them the cover; the sound itself is 40 dB less
    uncovered = lambda one: hearing.audible(one.maskers, noise_bands=[(f * 2 ** (-1 / 6), min(f * 2 ** (1 / 6), 16e3), one.bands_db) for f in page_heard.THIRDS_HZ]).over_all  # noqa: E731
    half = page_heard.passages(0.02)
    assert [one.verdict for one in half] == ["inaudible", "may be heard"]
    assert uncovered(half[1]).whole_most_db > 0.0 > uncovered(half[0]).whole_most_db + 5.0
    assert loud.verdict == "inaudible" and page_heard.passages(1.0)[0].verdict != "inaudible" and page_heard.passages(1.0)[1].verdict == "plain"
    job = job_of(sheet)
    answer = wl.assess(job)
    suspect = answer.finding("source selector / phono", "right")
    assert page_heard.residue_of(wl.evidence(job), answer) == (suspect.ceiling, "the most that source selector / phono can do")
    measured = wl.load_job(jobs / "innocent-contacts.toml")
    assert page_heard.residue_of(wl.evidence(measured), wl.assess(measured)) == (pytest.approx(0.01), "as measured")
    text = html_report.page(job)
    assert text.count("<polyline") == 2 * len(hearing.MODELS) and "A residue of 1.29 %" in text
    assert "loud: programme, 85 dB SPL: " in text
    at = wl.Job.from_text(sheet[0].replace('right = "grit"', 'right = "grit"\nlevel = "72 dB"'), readings=("gritty-right-on-records.csv", sheet[1]))
    faint = wl.Job.from_text(sheet[0].replace('right = "grit"', 'right = "grit"\nresidue = "0.01 %"'), readings=("gritty-right-on-records.csv", sheet[1]))
    assert "each third of the residue: -49 dB SPL, not in the picture" in html_report.page(faint)
    assert "loud: programme, 72 dB SPL: " in html_report.page(at) and "<td>72 dB SPL</td>" in html_report.page(at)


def test_a_write_that_fails_leaves_the_page_that_was_there(tmp_path, monkeypatch):
    file = tmp_path / "page.html"
    html_report.write(file, "the page of yesterday")
    whole = Path.write_text

    def disk_full(self, text, **how):
        whole(self, text[:3], **how)
        raise OSError(28, "No space left on device", str(self))

    monkeypatch.setattr(Path, "write_text", disk_full)
    with pytest.raises(OSError, match="No space"):
        html_report.write(file, "the page of today")
    assert file.read_text() == "the page of yesterday" and [p.name for p in tmp_path.iterdir()] == ["page.html"]


@pytest.mark.parametrize("name", ["two-faults", "worn-relay", "innocent-contacts", "quick-form"])
def test_every_example_makes_a_whole_page(jobs, name):
    text = html_report.page(wl.load_job(jobs / f"{name}.toml"))
    read = Reader(text)
    assert not read.open and "nan" not in re.sub(r"<pre>.*?</pre>", "", text, flags=re.S).lower().split()
