"""The page in a real browser (Debian's Chromium, headless): no console error, nothing wider than the screen, what the print holds.

Skipped with a line where no Chromium is installed; ``.ci/run`` installs it.
"""

import json
import re
import shutil
import subprocess
from html import escape, unescape

import pytest

import weaklink as wl
from weaklink import html_report

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="no chromium here: the page was not looked at in a browser (apt-get install chromium)")

CLEANED = "after cleaning,source selector / phono,right,<0.1 mV,dry box,,,\n"
WIDTHS = (360, 768, 1280)
# widths of the window and of the paper in CSS pixels at 96 to the inch, A4 and Letter
PAPER = {"A4": "210mm 297mm", "Letter": "8.5in 11in"}
LONGEST_S = 120


@pytest.fixture(scope="module")
def browser(tmp_path_factory):
    place = tmp_path_factory.mktemp("browser")

    def run(text, *options, name="page.html"):
        file = place / name
        file.write_text(text, encoding="utf-8")
        command = [CHROMIUM, "--headless", "--no-sandbox", "--disable-gpu", "--hide-scrollbars", "--enable-logging=stderr", "--log-level=0"]
        command += [f"--user-data-dir={place / 'profile'}", *options, file.as_uri()]
        done = subprocess.run(command, capture_output=True, text=True, timeout=LONGEST_S, cwd=place, check=False)
        assert done.returncode == 0, done.stderr[-2000:]
        return done.stdout, [line for line in done.stderr.splitlines() if "CONSOLE" in line]

    run.place = place
    return run


@pytest.fixture(scope="module")
def pages():
    from pathlib import Path

    jobs = Path(__file__).resolve().parents[2] / "notebooks" / "jobs"
    toml, csv = ((jobs / f"gritty-right-on-records.{end}").read_text() for end in ("toml", "csv"))
    cleaned = wl.Job.from_text(toml, readings=("gritty-right-on-records.csv", csv + CLEANED))
    out = {"cleaned": html_report.page(cleaned, price="120 in all, tax included", ohms=True)}
    return out | {name: html_report.page(wl.load_job(jobs / f"{name}.toml")) for name in ("two-faults", "worn-relay", "quick-form")}


# measures each page in frames of the widths asked for, in the frame's own scheme, and writes what it found as JSON
HARNESS = """<!DOCTYPE html><html style="color-scheme: {scheme}"><body>{frames}<pre id="found"></pre><script>
addEventListener("load", () => {{
  const found = [...document.querySelectorAll("iframe")].map(frame => {{
    const page = frame.contentDocument, root = page.documentElement, style = frame.contentWindow.getComputedStyle(root);
    const out = [...page.querySelectorAll("body *")].filter(e => !e.closest(".wide") && e.getBoundingClientRect().right > root.clientWidth + 0.5);
    const small = [...page.querySelectorAll("p, li, td, th, dd, dt")].filter(e => parseFloat(frame.contentWindow.getComputedStyle(e).fontSize) < 12);
    const svg = [...page.querySelectorAll("svg text")].map(e => 12 * e.ownerSVGElement.getBoundingClientRect().width / 720);
    const cut = [...page.querySelectorAll("svg")].filter(s => [...s.querySelectorAll("text")].some(e => {{
      const b = e.getBBox(), v = s.viewBox.baseVal; return b.x < -0.5 || b.x + b.width > v.width + 0.5 || b.y < -0.5 || b.y + b.height > v.height + 0.5; }}));
    return {{page: frame.name, width: root.clientWidth, over: root.scrollWidth - root.clientWidth, out: out.map(e => e.outerHTML.slice(0, 80)),
      small: small.length, figure: Math.min(...svg), cut: cut.length, paper: style.backgroundColor, height: root.scrollHeight}};
  }});
  document.getElementById("found").textContent = JSON.stringify(found);
}});
</script></body></html>"""


def measured(browser, pages, scheme, more=""):
    frames = "".join(
        f'<iframe name="{name}" style="border:0;width:{width}px;height:900px" srcdoc="{escape(text + more)}"></iframe>'
        for name, text in pages.items()
        for width in WIDTHS
    )
    out, console = browser(HARNESS.format(scheme=scheme, frames=frames), "--virtual-time-budget=5000", "--window-size=1400,1000", "--dump-dom")
    found = re.search(r'<pre id="found">(.*?)</pre>', out, flags=re.S)
    return json.loads(unescape(found.group(1))), console


@pytest.mark.parametrize(("scheme", "paper"), [("light", "rgb(251, 250, 247)"), ("dark", "rgb(20, 24, 29)")])
def test_nothing_is_wider_than_the_screen_at_any_width(browser, pages, scheme, paper):
    found, console = measured(browser, pages, scheme)
    assert len(found) == len(pages) * len(WIDTHS) and not console
    for one in found:
        assert one["width"] in WIDTHS and one["over"] <= 0 and not one["out"], one
        assert one["small"] == 0 and one["figure"] >= 10.0 and one["cut"] == 0, one
        assert one["paper"] == paper


def test_the_measuring_sees_what_is_too_wide(browser, pages):
    found, _ = measured(browser, {"cleaned": pages["cleaned"]}, "light", more='<div style="width:1300px">wide</div>')
    assert all(one["over"] > 0 and one["out"] for one in found)


def test_no_console_message(browser, pages):
    for name, text in pages.items():
        _, console = browser(text, "--dump-dom")
        assert not console, (name, console)
    _, console = browser(pages["cleaned"] + "<script>console.error('seen')</script><img src='file:///not/there'>", "--dump-dom")
    assert any("seen" in line for line in console)


# closes whatever it may stand in: text, an attribute of either quote, a comment, a title, a style
EVIL = """x"'--></title></style></textarea></pre><b class='owned'>b</b><img src=x onerror="document.title='owned'"><script>document.title='owned'</script>"""


# the same for a name of a part, where a stroke sets off the position
EVIL_NAME = """x"'--><b class='owned'>b<img src=x onerror="document.title='owned'"><script>document.title='owned';"""


def with_names(toml, csv):
    """The sheet and its readings with markup in every name and text that is their writer's."""

    def quoted(text):
        return text.replace('"', '\\"')

    for name in ("source selector", "tape monitor", "volume control", "speaker relay"):
        toml = toml.replace(f'"{name}', f'"{name} {quoted(EVIL_NAME)}')
        csv = csv.replace(f",{name} / ", f",{name} {EVIL_NAME} / ")
    toml = toml.replace('"my meter"', f'"my meter {quoted(EVIL)}"')
    toml = re.sub("^title .*$", lambda _: f'title = "{quoted(EVIL)}"', toml, flags=re.M)
    toml = re.sub(r'"phono"(?= = \[)', lambda _: f'"phono {quoted(EVIL)}"', toml)
    toml = re.sub(r'route( *)= "phono"', lambda m: f'route{m[1]}= "phono {quoted(EVIL)}"', toml)
    csv = csv.replace(",my meter,", f",my meter {EVIL},").replace(",wanders,", f",{EVIL},")
    # a cell with quotes is quoted
    rows = [",".join('"' + cell.replace('"', '""') + '"' for cell in line.split(",")) for line in csv.splitlines()]
    return toml, "\n".join(rows) + "\n"


def test_markup_in_names_makes_no_markup(browser, pages):
    from pathlib import Path

    jobs = Path(__file__).resolve().parents[2] / "notebooks" / "jobs"
    toml, csv = ((jobs / f"gritty-right-on-records.{end}").read_text() for end in ("toml", "csv"))
    look = """<script>addEventListener("load", () => {
      const all = [...document.querySelectorAll("*")], tags = {};
      for (const e of all) tags[e.tagName] = (tags[e.tagName] || 0) + 1;
      const handlers = all.filter(e => [...e.attributes].some(a => /^on|^src$|^href$|^srcset$/i.test(a.name))).length;
      const pre = document.createElement("pre"); pre.id = "found";
      pre.textContent = JSON.stringify({owned: document.querySelectorAll(".owned").length, title: document.title, handlers,
        script: tags.SCRIPT || 0, img: tags.IMG || 0, b: tags.B || 0, shown: document.body.innerText.split("class='owned'").length - 1});
      document.body.append(pre);
    });</script>"""

    def looked(text):
        out, console = browser(text + look, "--virtual-time-budget=3000", "--dump-dom")
        return json.loads(unescape(re.search(r'<pre id="found">(.*?)</pre>', out, flags=re.S).group(1))), console

    evil_toml, evil_csv = with_names(toml, csv)
    assert all(evil_toml.count(text.replace('"', '\\"')) > 2 for text in (EVIL, EVIL_NAME)) and evil_csv.count("owned") > 20
    job = wl.Job.from_text(evil_toml, readings=("gritty-right-on-records.csv", evil_csv))
    text = html_report.page(job, price=EVIL, done=[EVIL], not_tested=[EVIL], ohms=True)
    plain, _ = looked(pages["cleaned"])
    found, console = looked(text)
    assert not console, console
    assert found["owned"] == 0 and not found["title"].startswith("owned")
    # the one script is the looking glass
    assert (found["script"], found["img"], found["b"], found["handlers"]) == (plain["script"], plain["img"], plain["b"], plain["handlers"]) == (1, 0, 0, 0)
    # and the names are there, as text
    assert found["shown"] > 10
    # the looking sees markup where there is some
    assert looked(text.replace("</h1>", f"</h1>{EVIL}", 1))[0]["owned"] > 0


@pytest.mark.parametrize("size", PAPER)
def test_the_customers_part_prints_on_half_of_one_sheet(browser, pages, size):
    pypdf = pytest.importorskip("pypdf")
    for name, text in pages.items():
        sized = text.replace("@page { margin", f"@page {{ size: {PAPER[size]}; margin")
        assert sized != text
        pdf = browser.place / f"{name}-{size}.pdf"
        browser(sized, "--no-pdf-header-footer", f"--print-to-pdf={pdf}")
        sheets = pypdf.PdfReader(pdf).pages
        width, height = (float(x) for x in sheets[0].mediabox[2:])
        assert (width, height) == pytest.approx((595.3, 841.9) if size == "A4" else (612.0, 792.0), abs=1.0)
        first, second = (sheets[k].extract_text() for k in (0, 1))
        assert "Please note" in first and "Bench record" not in first and "Bench record" in second
        lowest = []
        sheets[0].extract_text(visitor_text=lambda t, cm, tm, font, size_, low=lowest: low.append(cm[5] + tm[5] * cm[3]) if t.strip() else None)
        # from the top of the sheet; a half page, and a little for two columns of unequal length
        assert height - min(lowest) < 0.62 * height, (name, min(lowest))
        assert len(sheets) <= 9


def test_a_picture_of_the_page_is_not_blank(browser, pages):
    shot = browser.place / "shot.png"
    browser(pages["cleaned"], "--window-size=1280,1600", f"--screenshot={shot}")
    image = pytest.importorskip("matplotlib.image").imread(shot)[..., :3]
    assert image.shape[:2] == (1600, 1280)
    dark = (image.mean(axis=2) < 0.5).mean()
    assert 0.01 < dark < 0.3
