//! XMP packets (ISO 16684-1) as corrected files need them: two as one, and what in them would hide a new
//! balance.

use roxmltree::{Document, Node};
use std::ops::Range;

/// The namespace of RDF.
pub(super) const RDF: &str = "http://www.w3.org/1999/02/22-rdf-syntax-ns#";
const DUBLIN_CORE: &str = "http://purl.org/dc/elements/1.1/";
/// Namespaces whose white balance tells how the picture was taken, and settles nothing (Exif in XMP,
/// ISO 16684-2).
const RECORDS: [&str; 3] = [
    "http://ns.adobe.com/exif/1.0/",
    "http://ns.adobe.com/exif/1.0/aux/",
    "http://cipa.jp/exif/1.0/",
];
/// What settings of a balance are called, whoever's they are, in small letters.
const BALANCE: [&str; 4] = ["whitebalance", "temperature", "tint", "whitepoint"];

/// White space (XML 1.0, production 3).
const SPACE: [char; 4] = [' ', '\t', '\r', '\n'];

/// A property where it stands in the text.
struct Property {
    namespace: String,
    local: String,
    shown: String,
    range: Range<usize>,
}

/// The packet of a file and its sidecar as one: the sidecar adds to it, and where both name a property
/// the sidecar's counts; keywords are those of both.
#[must_use]
pub fn merged(embedded: Option<&[u8]>, sidecar: &[u8]) -> Vec<u8> {
    let Some(embedded) = embedded else { return sidecar.to_vec() };
    let (own, other) = (text(embedded), text(sidecar));
    match (Document::parse(&own), Document::parse(&other)) {
        (Ok(one), Ok(two)) => {
            joined(&own, &one, &other, &two).map_or_else(|| sidecar.to_vec(), String::into_bytes)
        }
        // Of two that cannot be joined the one that can be understood.
        (Ok(_), Err(_)) => embedded.to_vec(),
        _ => sidecar.to_vec(),
    }
}

/// Why a sidecar is no packet.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum NoPacket {
    /// Bytes that are no text.
    #[error("it is neither UTF-8 nor UTF-16, which XMP is written in")]
    NoText,
    /// It breaks off, or is something else.
    #[error("it is no whole XML: it breaks off, or is something else")]
    NoXml,
    /// XML, but not of XMP.
    #[error("it is XML without rdf:RDF, so it is no XMP")]
    NoRdf,
}

/// A sidecar as a packet in UTF-8, which is how packets stand in files (ISO 16684-1, 7.1); sidecars may be
/// in UTF-16, with a byte order mark.
///
/// # Errors
/// Where it cannot be understood.
pub fn of_sidecar(bytes: &[u8]) -> Result<Vec<u8>, NoPacket> {
    let packet = match utf16(bytes) {
        Some(recoded) => recoded?,
        None => std::str::from_utf8(bytes).map_err(|_| NoPacket::NoText)?.to_owned(),
    };
    let inner = text(packet.as_bytes());
    let document = Document::parse(&inner).map_err(|_| NoPacket::NoXml)?;
    if !document.descendants().any(|n| n.has_tag_name((RDF, "RDF"))) {
        return Err(NoPacket::NoRdf);
    }
    // Neither a byte order mark nor a declaration may stand within a file's packet.
    let after_name = inner.strip_prefix("<?xml").filter(|rest| rest.starts_with(SPACE));
    let declared = after_name.and_then(|rest| rest.split_once("?>"));
    Ok(match declared {
        Some((_, rest)) => rest.trim_start().as_bytes().to_vec(),
        None => inner.into_bytes(),
    })
}

/// Text in UTF-16 by its byte order mark; `None` where there is no such mark.
fn utf16(bytes: &[u8]) -> Option<Result<String, NoPacket>> {
    let little = bytes.starts_with(&[0xff, 0xfe]);
    if !little && !bytes.starts_with(&[0xfe, 0xff]) {
        return None;
    }
    let (pairs, odd) = bytes[2..].as_chunks::<2>();
    let unit = |&pair: &[u8; 2]| match little {
        true => u16::from_le_bytes(pair),
        false => u16::from_be_bytes(pair),
    };
    let units: Vec<u16> = pairs.iter().map(unit).collect();
    let text = String::from_utf16(&units).ok().filter(|_| odd.is_empty());
    Some(text.ok_or(NoPacket::NoText))
}

/// Settings in a packet by which another program would open a file with a balance of its own, as they
/// are written there.
#[must_use]
pub fn settings(packet: &[u8]) -> Vec<String> {
    let text = text(packet);
    let Ok(document) = Document::parse(&text) else { return Vec::new() };
    let mut named: Vec<String> =
        properties(&document, &text).into_iter().filter(of_balance).map(|p| p.shown).collect();
    named.dedup();
    named
}

/// The packet without those settings.
#[must_use]
pub fn without_settings(packet: &[u8]) -> Vec<u8> {
    let text = text(packet);
    let Ok(document) = Document::parse(&text) else { return packet.to_vec() };
    let ranges = properties(&document, &text).into_iter().filter(of_balance).map(|p| p.range);
    cut(&text, ranges.collect()).into_bytes()
}

fn text(packet: &[u8]) -> String {
    let text = String::from_utf8_lossy(packet);
    text.trim_start_matches('\u{feff}').trim_end_matches('\0').to_owned()
}

fn of_balance(property: &Property) -> bool {
    let local = property.local.to_lowercase();
    !RECORDS.contains(&property.namespace.as_str()) && BALANCE.iter().any(|b| local.contains(b))
}

fn descriptions<'a, 'i>(document: &'a Document<'i>) -> impl Iterator<Item = Node<'a, 'i>> {
    let rdf = document.descendants().find(|n| n.has_tag_name((RDF, "RDF")));
    rdf.into_iter().flat_map(|rdf| rdf.children()).filter(|n| n.has_tag_name((RDF, "Description")))
}

/// The properties of all descriptions: attributes and elements.
fn properties(document: &Document<'_>, text: &str) -> Vec<Property> {
    let mut found = Vec::new();
    for description in descriptions(document) {
        let about = |namespace: Option<&str>| namespace.is_some_and(|n| n != RDF);
        for attribute in description.attributes().filter(|a| about(a.namespace())) {
            let range = attribute.range();
            let shown = text[range.clone()].split('=').next().unwrap_or_default().trim();
            found.push(Property {
                namespace: attribute.namespace().unwrap_or_default().to_owned(),
                local: attribute.name().to_owned(),
                shown: shown.to_owned(),
                range,
            });
        }
        for element in description.children().filter(Node::is_element) {
            let name = element.tag_name();
            let range = element.range();
            let inside = text[range.clone()].trim_start_matches('<');
            let end = inside.find([' ', '>', '/', '\n', '\t', '\r']).unwrap_or(inside.len());
            found.push(Property {
                namespace: name.namespace().unwrap_or_default().to_owned(),
                local: name.name().to_owned(),
                shown: inside[..end].to_owned(),
                range,
            });
        }
    }
    found
}

fn cut(text: &str, mut ranges: Vec<Range<usize>>) -> String {
    ranges.sort_by_key(|r| r.start);
    let mut left = text.to_owned();
    for range in ranges.into_iter().rev() {
        left.replace_range(range, "");
    }
    left
}

fn joined(own: &str, one: &Document<'_>, other: &str, two: &Document<'_>) -> Option<String> {
    let end = closing(own, one)?;
    let theirs = properties(two, other);
    let subject = |p: &Property| p.namespace == DUBLIN_CORE && p.local == "subject";
    let both = theirs.iter().any(subject) && properties(one, own).iter().any(subject);
    let mut more = String::new();
    if both {
        let items: String =
            keywords(one, two).iter().map(|k| format!("<rdf:li>{k}</rdf:li>")).collect();
        more = format!(
            "<rdf:Description xmlns:rdf=\"{RDF}\" xmlns:dc=\"{DUBLIN_CORE}\" rdf:about=\"\">\
             <dc:subject><rdf:Bag>{items}</rdf:Bag></dc:subject></rdf:Description>\n"
        );
    }
    let of_subject: Vec<Range<usize>> =
        theirs.iter().filter(|p| both && subject(p)).map(|p| p.range.clone()).collect();
    for description in descriptions(two) {
        more.push_str(&standing_alone(other, &description, &of_subject));
        more.push('\n');
    }
    let named =
        |p: &Property| theirs.iter().any(|t| (&t.namespace, &t.local) == (&p.namespace, &p.local));
    let gone: Vec<Range<usize>> =
        properties(one, own).into_iter().filter(named).map(|p| p.range).collect();
    // What is cut stands before the end.
    let shorter: usize = gone.iter().map(|r| r.len()).sum();
    let mut text = cut(own, gone);
    text.insert_str(end - shorter, &more);
    Some(text)
}

/// Where the element that holds all descriptions is closed, whatever prefix it has; `None` where there is
/// none, or nothing in it.
pub(super) fn closing(text: &str, document: &Document<'_>) -> Option<usize> {
    let rdf = document.descendants().find(|n| n.has_tag_name((RDF, "RDF")))?.range();
    Some(rdf.start + text[rdf].rfind("</")?)
}

/// A description with every prefix declared in it, without some of its parts.
fn standing_alone(text: &str, description: &Node<'_, '_>, without: &[Range<usize>]) -> String {
    let range = description.range();
    let inside = without.iter().filter(|r| range.start <= r.start && r.end <= range.end);
    let own = cut(
        &text[range.clone()],
        inside.map(|r| r.start - range.start..r.end - range.start).collect(),
    );
    let name = own[1..].find([' ', '>', '/', '\n', '\t', '\r']).map_or(own.len(), |at| at + 1);
    let start = own.find('>').unwrap_or(own.len());
    let declared: String = description
        .namespaces()
        .filter_map(|n| Some((n.name()?, n.uri())))
        .filter(|(prefix, _)| {
            *prefix != "xml" && !own[..start].contains(&format!("xmlns:{prefix}="))
        })
        .map(|(prefix, uri)| format!(" xmlns:{prefix}=\"{uri}\""))
        .collect();
    format!("{}{declared}{}", &own[..name], &own[name..])
}

/// Keywords of both, each once, escaped again.
fn keywords(one: &Document<'_>, two: &Document<'_>) -> Vec<String> {
    let mut known: Vec<String> = Vec::new();
    for document in [one, two] {
        let subjects = document.descendants().filter(|n| n.has_tag_name((DUBLIN_CORE, "subject")));
        let items = subjects.flat_map(|s| s.descendants().filter(|n| n.has_tag_name((RDF, "li"))));
        for item in items {
            let word = item.text().unwrap_or_default();
            let word = word.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;");
            if !known.contains(&word) {
                known.push(word);
            }
        }
    }
    known
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    fn packet(inside: &str, more: &str) -> String {
        format!(
            "<?xpacket begin=\"\u{feff}\" id=\"W5M0MpCehiHzreSzNTczkc9d\"?>\n<x:xmpmeta \
             xmlns:x=\"adobe:ns:meta/\"><rdf:RDF xmlns:rdf=\"{RDF}\" xmlns:dc=\"{DUBLIN_CORE}\" \
             xmlns:q=\"http://ns.example/q/\"><rdf:Description rdf:about=\"\" {more}>{inside}\
             </rdf:Description></rdf:RDF></x:xmpmeta>\n<?xpacket end=\"w\"?>"
        )
    }

    fn subject(words: &[&str]) -> String {
        let items: String = words.iter().map(|w| format!("<rdf:li>{w}</rdf:li>")).collect();
        format!("<dc:subject><rdf:Bag>{items}</rdf:Bag></dc:subject>")
    }

    /// The same sidecar as three encodings write it (UTF-16 by RFC 2781) is one packet; what breaks off, is
    /// no XML or no XMP is none.
    #[test]
    fn a_sidecar_is_read_in_every_encoding_or_refused() {
        let body = format!(
            "<x:xmpmeta xmlns:x=\"adobe:ns:meta/\"><rdf:RDF xmlns:rdf=\"{RDF}\"><rdf:Description \
             xmlns:q=\"q\" q:Place=\"F\u{e4}hre \u{1f426}\"/></rdf:RDF></x:xmpmeta>"
        );
        let declared = format!("<?xml version=\"1.0\" encoding=\"UTF-16\"?>\n{body}");
        let marked = format!("\u{feff}{declared}");
        let bytes = |order: fn(u16) -> [u8; 2]| -> Vec<u8> {
            marked.encode_utf16().flat_map(order).collect()
        };
        let (little, big) = (bytes(u16::to_le_bytes), bytes(u16::to_be_bytes));
        assert_eq!(little[..4], [0xff, 0xfe, b'<', 0]);
        for sidecar in [&little, &big] {
            assert_eq!(of_sidecar(sidecar).unwrap(), body.as_bytes());
        }
        for sidecar in [&body, &declared.replace("UTF-16", "UTF-8"), &format!("\u{feff}{body}")] {
            assert_eq!(of_sidecar(sidecar.as_bytes()).unwrap(), body.as_bytes());
        }
        // What parts the name of a declaration from the rest is any white space (XML 1.0, productions 3, 23
        // to 25); a style sheet's instruction is no declaration.
        for space in [" ", "\t", "\n", "\r\n"] {
            let declared = format!("<?xml{space}version=\"1.0\"{space}?>\n{body}");
            assert_eq!(of_sidecar(declared.as_bytes()).unwrap(), body.as_bytes(), "{space:?}");
        }
        let styled = format!("<?xml-stylesheet href=\"a\"?>{body}");
        assert_eq!(of_sidecar(styled.as_bytes()).unwrap(), styled.as_bytes());
        let cut = &body.as_bytes()[..body.len() - 20];
        assert_eq!(of_sidecar(cut), Err(NoPacket::NoXml));
        assert_eq!(of_sidecar(b"rating = 5\n"), Err(NoPacket::NoXml));
        assert_eq!(of_sidecar(b""), Err(NoPacket::NoXml));
        assert_eq!(of_sidecar(b"<html><p>5</p></html>"), Err(NoPacket::NoRdf));
        assert_eq!(of_sidecar(&little[..little.len() - 1]), Err(NoPacket::NoText));
        assert_eq!(of_sidecar(&[b'<', 0xe4, b'>']), Err(NoPacket::NoText));
    }

    #[test]
    fn a_sidecar_adds_to_a_packet() {
        let own = packet(&format!("{}<q:Kept>1</q:Kept>", subject(&["sea"])), "q:Both=\"old\"");
        let other = packet(&subject(&["dusk &amp; dawn", "sea"]), "q:Both=\"new\" q:More=\"2\"");
        let one = merged(Some(own.as_bytes()), other.as_bytes());
        let text = String::from_utf8(one).unwrap();
        let document = Document::parse(&text).unwrap();
        let values: Vec<(String, String)> = descriptions(&document)
            .flat_map(|d| {
                let attributes =
                    d.attributes().map(|a| (a.name().to_owned(), a.value().to_owned()));
                let elements = d.children().filter(Node::is_element).map(|e| {
                    (e.tag_name().name().to_owned(), e.text().unwrap_or_default().to_owned())
                });
                attributes.chain(elements).collect::<Vec<_>>()
            })
            .collect();
        let of = |name: &str| -> Vec<&str> {
            values.iter().filter(|v| v.0 == name).map(|v| v.1.as_str()).collect()
        };
        assert_eq!((of("Kept"), of("Both"), of("More")), (vec!["1"], vec!["new"], vec!["2"]));
        assert_eq!(of("subject").len(), 1, "{text}");
        assert_eq!(keywords(&document, &document), ["sea", "dusk &amp; dawn"]);
        assert_eq!(merged(None, other.as_bytes()), other.as_bytes());
        assert_eq!(merged(Some(own.as_bytes()), b"no packet"), own.as_bytes());
    }

    #[test]
    fn settings_of_a_balance_are_named_and_taken_out() {
        let own = packet(
            "<q:Temperature>5200</q:Temperature><q:Exposure>1</q:Exposure>",
            "q:WhiteBalance=\"Custom\" xmlns:exif=\"http://ns.adobe.com/exif/1.0/\" \
             exif:WhiteBalance=\"0\"",
        );
        assert_eq!(settings(own.as_bytes()), ["q:WhiteBalance", "q:Temperature"]);
        let left = String::from_utf8(without_settings(own.as_bytes())).unwrap();
        assert!(settings(left.as_bytes()).is_empty(), "{left}");
        assert!(left.contains("exif:WhiteBalance=\"0\"") && left.contains("<q:Exposure>1<"));
        assert!(Document::parse(&left).is_ok(), "{left}");
    }
}
