//! The mark of a corrected file, by which it is known again whatever it is called: a property in XMP
//! (ISO 16684-1) and, in a DNG that has none of its own, private data (DNG specification 1.7,
//! DNGPrivateData: a maker's name closed by a zero, then what it likes).

use super::evenness::Part;
use super::packet::{RDF, closing};
use roxmltree::Document;

/// The namespace of our properties; `.invalid` is nobody's (RFC 2606).
const NAMESPACE: &str = "https://lightloss.invalid/xmp/correction/1.0/";
/// How private data begins.
const PRIVATE: &[u8] = b"lightloss\0";
const PROPERTY: &str = "Correction";
const HEADER: &str = "<?xpacket begin=\"\u{feff}\" id=\"W5M0MpCehiHzreSzNTczkc9d\"?>\n";
const TRAILER: &str = "\n<?xpacket end=\"w\"?>";
const END: &str = "</rdf:RDF>";

/// What was taken out of a photograph.
#[derive(Clone, Debug, PartialEq)]
pub struct Mark {
    /// Filters and marks in plain words.
    pub filters: String,
    /// Multipliers of red, green and blue that the balance holds now.
    pub gains: [f64; 3],
    /// What of the unevenness was taken out too.
    pub evenness: Option<Part>,
    /// The balance of the file: camera RGB of a neutral, green = 1.
    pub neutral: [f64; 3],
    /// What else was asked for that shaped the file, in plain words.
    pub asked: Vec<&'static str>,
    /// A number that stands for the original and its sidecar.
    pub original: String,
    /// The program and its version.
    pub program: String,
}

impl Mark {
    /// Whether what was found in a file is this very correction, whichever version wrote it.
    #[must_use]
    pub fn is(&self, found: &str) -> bool {
        found.rsplit_once("; ").is_some_and(|(what, _)| what == self.what())
    }

    /// What is said in a file and not here, and what is said here and not there.
    #[must_use]
    pub fn apart(&self, found: &str) -> [String; 2] {
        let (found, what) = (found.rsplit_once("; ").map_or(found, |f| f.0), self.what());
        let alone = |one: &str, other: &str| -> String {
            let own = |part: &&str| !other.split("; ").any(|known| known == *part);
            one.split("; ").filter(own).collect::<Vec<_>>().join("; ")
        };
        [alone(found, &what), alone(&what, found)]
    }

    fn words(&self) -> String {
        format!("{}; {}", self.what(), self.program)
    }

    /// Everything but the program.
    fn what(&self) -> String {
        let three = |of: [f64; 3]| of.map(|v| format!("{v:.5}")).join(" ");
        let evenness = self.evenness.map_or("unevenness left", Part::done);
        let asked: String = self.asked.iter().map(|word| format!("; {word}")).collect();
        format!(
            "{}; gains {}; {evenness}; neutral {}{asked}; original {}",
            self.filters,
            three(self.gains),
            three(self.neutral),
            self.original
        )
    }

    /// Private data of a DNG.
    #[must_use]
    pub fn private_data(&self) -> Vec<u8> {
        [PRIVATE, self.words().as_bytes(), b"\0"].concat()
    }

    /// A packet with the mark in it: the one that was there with one more description, or a new one.
    #[must_use]
    pub fn into_packet(&self, packet: Option<&[u8]>) -> Vec<u8> {
        let description = format!(
            "<rdf:Description xmlns:rdf=\"{RDF}\" rdf:about=\"\" xmlns:lightloss=\"{NAMESPACE}\" \
             lightloss:{PROPERTY}=\"{}\"/>\n",
            escaped(&self.words())
        );
        let end = packet.and_then(|p| Some((p, end(p)?)));
        match (end, packet) {
            (Some((packet, at)), _) => {
                let whole = [&packet[..at], description.as_bytes(), &packet[at..]].concat();
                // Sidecars have no wrapper, packets in files must (ISO 16684-1, 7.3).
                match find_last(packet, b"<?xpacket") {
                    Some(_) => whole,
                    None => [HEADER.as_bytes(), &whole, TRAILER.as_bytes()].concat(),
                }
            }
            // Not to be understood, so left as it is.
            (None, Some(packet)) => packet.to_vec(),
            (None, None) => format!(
                "{HEADER}<x:xmpmeta xmlns:x=\"adobe:ns:meta/\">\n\
                 <rdf:RDF xmlns:rdf=\"{RDF}\">\n\
                 {description}{END}\n</x:xmpmeta>{TRAILER}"
            )
            .into_bytes(),
        }
    }
}

/// What a file's packet and private data say of an earlier correction; `None` where there was none.
#[must_use]
pub fn found(packet: Option<&[u8]>, private: Option<&[u8]>) -> Option<String> {
    let in_packet = packet.and_then(|packet| {
        let text = String::from_utf8_lossy(packet);
        let text = text.trim_start_matches('\u{feff}').trim_end_matches('\0');
        // The namespace counts, whatever prefix another program gave it.
        if !text.contains(NAMESPACE) {
            return None;
        }
        let Ok(document) = Document::parse(text) else { return Some(String::new()) };
        let value = document.descendants().find_map(|node| {
            let element = node.has_tag_name((NAMESPACE, PROPERTY)).then(|| node.text()).flatten();
            element.or_else(|| node.attribute((NAMESPACE, PROPERTY)))
        });
        Some(value.unwrap_or_default().to_owned())
    });
    let in_private = private.and_then(|bytes| bytes.strip_prefix(PRIVATE)).map(|words| {
        String::from_utf8_lossy(words.split(|&b| b == 0).next().unwrap_or_default()).into_owned()
    });
    // A packet that another program broke tells that there is a mark, the private data which.
    in_packet.clone().filter(|words| !words.is_empty()).or(in_private).or(in_packet)
}

/// Where one more description belongs: by the element's namespace, whatever prefix another program
/// gave it, else by the usual words.
fn end(packet: &[u8]) -> Option<usize> {
    let by_name = || {
        let text = std::str::from_utf8(packet).ok()?;
        // A byte order mark may stand before it, zeros behind it.
        let start = text.find('<')?;
        let inner = text[start..].trim_end_matches('\0');
        Some(start + closing(inner, &Document::parse(inner).ok()?)?)
    };
    by_name().or_else(|| find_last(packet, END.as_bytes()))
}

fn find_last(bytes: &[u8], wanted: &[u8]) -> Option<usize> {
    bytes.windows(wanted.len()).rposition(|w| w == wanted)
}

fn escaped(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;").replace('"', "&quot;")
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    fn mark() -> Mark {
        Mark {
            filters: "Weir <Three> & \"Ten\"".into(),
            gains: [1.1, 1.0, 0.9],
            evenness: Some(Part::Circular),
            neutral: [0.5, 1.0, 0.6],
            asked: vec![],
            original: "0f".into(),
            program: "lightloss 0".into(),
        }
    }

    /// Every number and word that shapes a file tells two corrections apart; the version does not.
    #[test]
    fn a_mark_is_another_where_the_file_would_be() {
        let words = String::from_utf8(mark().private_data()).unwrap();
        let words = words.trim_start_matches("lightloss\0").trim_end_matches('\0');
        assert!(mark().is(words) && Mark { program: "lightloss 9".into(), ..mark() }.is(words));
        for other in [
            Mark { filters: "Ten".into(), ..mark() },
            Mark { gains: [1.1, 1.0, 0.91], ..mark() },
            Mark { evenness: None, ..mark() },
            Mark { neutral: [0.5, 1.0, 0.61], ..mark() },
            Mark { asked: vec!["not compressed"], ..mark() },
            Mark { original: "0e".into(), ..mark() },
        ] {
            assert!(!other.is(words), "{other:?}");
        }
        // As it was written before the balance stood in it.
        let of_old = "Weir <Three> & \"Ten\"; gains 1.10000 1.00000 0.90000; circular part of the \
                      unevenness taken out; lightloss 0";
        let old = format!("lightloss\0{of_old}\0");
        assert_eq!(found(None, Some(old.as_bytes())).unwrap(), of_old);
        // A packet that another program broke still tells that there is a mark.
        let broken = format!("<x:xmpmeta xmlns:l=\"{NAMESPACE}\">");
        let broken = Some(broken.as_bytes());
        assert_eq!(found(broken, Some(old.as_bytes())).unwrap(), of_old);
        assert_eq!(found(broken, None).unwrap(), "");
        assert!(!mark().is(of_old));
        let lacks = "neutral 0.50000 1.00000 0.60000; original 0f";
        assert_eq!(mark().apart(of_old), [String::new(), lacks.to_owned()]);
        let plain = Mark { asked: vec!["not compressed"], ..mark() };
        assert_eq!(plain.apart(words), [String::new(), "not compressed".to_owned()]);
    }

    #[test]
    fn a_mark_is_found_in_a_new_packet_an_old_one_and_private_data() {
        let new = mark().into_packet(None);
        let old = b"<x:xmpmeta xmlns:x='x'><rdf:RDF xmlns:rdf='r'><rdf:Description/></rdf:RDF></x:xmpmeta>";
        let added = mark().into_packet(Some(old));
        for packet in [&new, &added] {
            let said = found(Some(packet), None).unwrap();
            assert!(said.starts_with("Weir <Three> & \"Ten\"; gains 1.10000 1.00000"), "{said}");
        }
        assert!(
            String::from_utf8(added).unwrap().contains("<rdf:Description/><rdf:Description xmlns")
        );
        assert!(
            found(None, Some(&mark().private_data()))
                .unwrap()
                .contains("circular part of the unevenness taken out")
        );
    }

    #[test]
    fn the_prefix_is_the_other_programs_own() {
        let old = format!(
            "<?xpacket begin='\u{feff}'?><x:xmpmeta xmlns:x='adobe:ns:meta/'><r:RDF xmlns:r='{RDF}'>\
             <r:Description r:about=''/></r:RDF></x:xmpmeta><?xpacket end='w'?>"
        );
        let marked = mark().into_packet(Some(old.as_bytes()));
        let said = found(Some(&marked), None).unwrap();
        assert!(said.contains("circular part of the unevenness taken out"), "{said}");
        let text = String::from_utf8(marked).unwrap();
        let document = Document::parse(text.trim_start_matches('\u{feff}')).unwrap();
        let all = document.descendants().filter(|n| n.has_tag_name((RDF, "Description")));
        assert_eq!(all.count(), 2, "{text}");
    }

    #[test]
    fn another_program_may_write_the_packet_anew() {
        let element = format!(
            "<rdf:RDF xmlns:rdf='r' xmlns:q='{NAMESPACE}'><q:Correction>Weir Three; gains</q:Correction></rdf:RDF>"
        );
        assert_eq!(found(Some(element.as_bytes()), None).unwrap(), "Weir Three; gains");
        assert_eq!(
            found(Some(b"<rdf:RDF><dc:subject>lightloss</dc:subject></rdf:RDF>"), None),
            None
        );
        assert_eq!(found(None, Some(b"Othermaker\0lightloss")), None);
    }
}
