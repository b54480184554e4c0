//! Keywords from an XMP packet (ISO 16684-1): the items of `dc:subject`.

use crate::text::one_line;

/// Packets stand near the start of a JPEG or PNG.
const SEARCHED: usize = 1 << 20;

/// Keywords and description of a packet.
#[must_use]
pub fn words(packet: &[u8]) -> Vec<String> {
    let mut words = keywords(packet);
    words.extend(list(packet, "<dc:description>", "</dc:description>"));
    words
}

/// The keywords of a packet, in order.
pub(super) fn keywords(packet: &[u8]) -> Vec<String> {
    list(packet, "<dc:subject>", "</dc:subject>")
}

fn list(packet: &[u8], from: &str, to: &str) -> Vec<String> {
    let text = String::from_utf8_lossy(packet);
    let Some(list) = between(&text, from, to) else { return Vec::new() };
    let mut items = Vec::new();
    let mut rest = list;
    while let Some((_, after)) = rest.split_once("<rdf:li") {
        let Some((tag, inside)) = after.split_once('>') else { break };
        // An item is text alone; each byte is looked at once, whatever is left open.
        let end = inside.find('<').unwrap_or(inside.len());
        let item = one_line(&plain(&inside[..end]));
        if !tag.ends_with('/') && inside[end..].starts_with("</rdf:li>") && !item.is_empty() {
            items.push(item);
        }
        rest = &inside[end..];
    }
    items
}

/// The keywords of a picture file that holds a packet as plain text.
pub(super) fn keywords_in(file: &[u8]) -> Vec<String> {
    let head = &file[..file.len().min(SEARCHED)];
    let mark = b"<x:xmpmeta";
    let start = head.windows(mark.len()).position(|window| window == mark);
    start.map(|start| keywords(&head[start..])).unwrap_or_default()
}

fn between<'t>(text: &'t str, from: &str, to: &str) -> Option<&'t str> {
    let start = text.find(from)? + from.len();
    let end = text[start..].find(to)? + start;
    Some(&text[start..end])
}

/// The five entities that XML predefines.
fn plain(text: &str) -> String {
    text.replace("&lt;", "<")
        .replace("&gt;", ">")
        .replace("&quot;", "\"")
        .replace("&apos;", "'")
        .replace("&amp;", "&")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn keywords_come_in_order_and_unescaped() {
        let packet = b"<x:xmpmeta><dc:subject><rdf:Bag><rdf:li>river</rdf:li>\n<rdf:li>dusk &amp; \
            dawn</rdf:li><rdf:li/></rdf:Bag></dc:subject></x:xmpmeta>";
        assert_eq!(keywords(packet), ["river", "dusk & dawn"]);
        assert_eq!(keywords_in(packet), ["river", "dusk & dawn"]);
        assert!(keywords(b"<dc:subject><rdf:Bag>").is_empty());
    }

    /// Items that are never closed once took the square of their number in memory.
    #[test]
    fn open_items_cost_no_more_than_their_length() {
        let open = "<rdf:li>".repeat(500_000);
        let packet = format!("<dc:subject>{open}dusk</rdf:li></dc:subject>");
        assert_eq!(keywords(packet.as_bytes()), ["dusk"]);
    }
}
