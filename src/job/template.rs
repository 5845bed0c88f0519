//! A commented sheet and a readings file to fill in, both from the key table.

use super::keys::{Entries, HEADERS, Header, READING, TOP};
use super::model::Job;
use crate::bench::Channel;
use crate::bench::evidence::What;

/// A sheet with every header and key, commented; it reads without a fault as it is.
#[must_use]
pub fn sheet_template() -> String {
    let mut text = String::from(
        "# A weaklink job sheet to fill in. Values carry their unit, in quotes. Lines that begin with # are off.\n",
    );
    for key in TOP {
        match key.example.strip_prefix("# ") {
            Some(example) => text += &format!("# {} = {example}  # {}\n", key.name, key.meaning),
            None => text += &format!("{} = {}  # {}\n", key.name, key.example, key.meaning),
        }
    }
    for header in HEADERS {
        text += &format!("\n# {}.\n", header.about);
        match header.entries {
            Entries::Named | Entries::Lists => named(&mut text, header),
            Entries::Rows | Entries::Keys => rows(&mut text, header),
        }
    }
    text
}

fn named(text: &mut String, header: &Header) {
    let width = header.keys.iter().map(|key| key.name.len()).max().unwrap_or(0);
    for key in header.keys {
        let example = key.example.trim_start_matches("# ");
        *text += &format!("#   {:width$}  {}, like {example}\n", key.name, key.meaning);
    }
    let all_off = header.template.iter().all(|entry| entry.starts_with('#'));
    *text += &format!("{}{}\n", if all_off { "# " } else { "" }, header.header);
    for entry in header.template {
        if entry.contains('=') {
            *text += &format!("{entry}\n");
            continue;
        }
        let (off, name) = entry.strip_prefix("# ").map_or(("", *entry), |name| ("# ", name));
        let on = header.keys.iter().filter(|key| !key.example.starts_with('#'));
        let keys: Vec<String> = on.map(|key| format!("{} = {}", key.name, key.example)).collect();
        *text += &format!("{off}\"{name}\" = {{ {} }}\n", keys.join(", "));
    }
}

fn rows(text: &mut String, header: &Header) {
    let off = if header.template.is_empty() { "# " } else { "" };
    *text += &format!("{off}{}\n", header.header);
    for key in header.keys {
        let (off, example) = key.example.strip_prefix("# ").map_or((off, key.example), |example| ("# ", example));
        *text += &format!("{off}{} = {example}  # {}\n", key.name, key.meaning);
    }
}

/// A readings file for the contacts of a job, to fill in: one row per contact and channel, `shows` left blank.
///
/// Contacts on the bad routes and channels only, where anything bad was heard; else all of them.
#[must_use]
pub fn readings_template(job: &Job) -> String {
    let columns: Vec<&str> = READING.iter().map(|key| key.name).collect();
    let mut text = columns.join(",") + "\n";
    let bad: Vec<Channel> = job.heard.iter().filter(|h| h.what != What::Clean).map(|h| h.channel).collect();
    for contact in job.contacts().filter(|contact| contact.role.is_in_the_path()) {
        for channel in [Channel::Left, Channel::Right] {
            if !bad.is_empty() && !bad.contains(&channel) {
                continue;
            }
            let cell = |name: &str| match name {
                "when" => "as found".to_owned(),
                "contact" if contact.name.contains([',', '"']) => {
                    format!("\"{}\"", contact.name.replace('"', "\"\""))
                }
                "contact" => contact.name.clone(),
                "channel" => channel.word().to_owned(),
                "method" => "dry box".to_owned(),
                _ => String::new(),
            };
            text += &(columns.iter().map(|name| cell(name)).collect::<Vec<_>>().join(",") + "\n");
        }
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::job::read;

    fn no_file(_: &str) -> std::io::Result<String> {
        Err(std::io::ErrorKind::NotFound.into())
    }

    #[test]
    fn the_template_reads_and_names_every_key() {
        let text = sheet_template();
        let job = read(&text, "template", &no_file).unwrap();
        assert_eq!(job.routes.len(), 1);
        assert_eq!(job.methods.len(), 1);
        for header in HEADERS {
            assert!(text.contains(header.header), "{}", header.header);
            for key in header.keys {
                assert!(text.contains(key.name) && text.contains(key.meaning), "{} {}", header.header, key.name);
            }
        }
    }

    #[test]
    fn every_line_that_is_off_reads_when_it_is_on() {
        // each key's own line, switched on alone; lines that need company (channel with what) come together
        let text = sheet_template();
        let pairs = [("# channel = ", "# what = "), ("# by = ", "# than = ")];
        let mut tried = 0;
        for header in HEADERS.iter().filter(|h| h.entries == Entries::Rows && !h.template.is_empty()) {
            for key in header.keys.iter().filter(|key| key.example.starts_with('#')) {
                let line = format!("# {} = ", key.name);
                let on = |text: &str, line: &str| text.replacen(line, line.trim_start_matches("# "), 1);
                let mut switched = on(&text, &line);
                if let Some((a, b)) = pairs.iter().find(|pair| pair.0 == line || pair.1 == line) {
                    switched = on(&on(&text, a), b);
                }
                if ["channel", "what"].contains(&key.name) {
                    switched =
                        switched.replacen("\nleft = ", "\n# left = ", 1).replacen("\nright = ", "\n# right = ", 1);
                }
                let found = read(&switched, "template", &no_file);
                assert!(found.is_ok(), "{}: {found:?}", key.name);
                tried += 1;
            }
        }
        assert!(tried >= 9, "{tried}");
    }

    #[test]
    fn a_readings_file_with_blanks_is_not_a_fault() {
        let sheet = sheet_template().replace("# readings = ", "readings = ");
        let job = read(&sheet_template(), "template", &no_file).unwrap();
        let csv = readings_template(&job);
        assert_eq!(csv.lines().count(), 1 + 4, "{csv}");
        let filled = csv.replacen("source selector / phono,right,,", "source selector / phono,right,0.2 mV,", 1);
        assert_ne!(filled, csv);
        let job = read(&sheet, "template", &|_| Ok(filled.clone())).unwrap();
        assert_eq!((job.readings.len(), job.blank_readings), (1, 3));
    }
}
