//! What the page may do, and what stands on each printed page.
//!
//! Comes in: the page's style and script; the definition's stamp. Goes out: a content security policy that names
//! their hashes, and the rules for printed margins. Why: a page that is passed on by mail must not be able to fetch
//! or send anything, whatever a name in a definition tries.

use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use sha2::{Digest, Sha256};

use super::super::Stamp;
use crate::draw::{Weight, clean, shorten};

/// The policy: nothing but this style and this script.
pub(super) fn of(style: &str, script: &str) -> String {
    let script = hash(script);
    let style = hash(style);
    format!(
        "default-src 'none'; script-src 'sha256-{script}'; style-src 'sha256-{style}'; base-uri 'none'; \
         form-action 'none'"
    )
}

/// The policy of a page without a script: nothing but this style.
pub(in crate::sheet) fn style_only(style: &str) -> String {
    format!("default-src 'none'; style-src 'sha256-{}'; base-uri 'none'; form-action 'none'", hash(style))
}

/// As a policy names it: SHA-256 in base 64.
fn hash(text: &str) -> String {
    STANDARD.encode(Sha256::digest(text.as_bytes()))
}

/// Rules for the margins of printed pages: id, revision and hash above, page numbers below.
pub(in crate::sheet) fn running_head(stamp: &Stamp) -> String {
    let variant = stamp.variant.as_ref().map(|v| format!(" variant {v}")).unwrap_or_default();
    let left = format!("{} · revision {}{variant}", stamp.id, stamp.revision);
    let hash = stamp.hash.get(..12).unwrap_or(&stamp.hash);
    format!(
        "@page{{@top-left{{content:{}}}@top-right{{content:{}}}@bottom-right{{content:\"page \" counter(page) \" of \
         \" counter(pages)}}}}\n",
        quoted(&left),
        quoted(hash)
    )
}

/// A text as CSS writes it: everything but letters and digits by its number, so that nothing can end it.
fn quoted(text: &str) -> String {
    let cut: String = text.chars().take(400).collect();
    let text = shorten(clean(&cut).trim(), 1.0, Weight::Regular, 40.0);
    let escape = |c: char| {
        if c.is_ascii_alphanumeric() { c.to_string() } else { format!("\\{:x} ", u32::from(c)) }
    };
    format!("\"{}\"", text.chars().map(escape).collect::<String>())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn hashes_are_written_as_the_policy_wants_them() {
        // The example of Content Security Policy Level 2 (from memory); `openssl dgst -sha256 -binary` gives the same.
        assert_eq!(hash("alert('Hello, world.');"), "qznLcsROx4GACP2dm0UCKCzCG+HiZ1guq6ZZDob/Tng=");
    }

    #[test]
    fn nothing_ends_a_quoted_text() {
        let text = quoted("A\"}</style>\\\n\u{202e}9");
        assert_eq!(text, "\"A\\22 \\7d \\3c \\2f style\\3e \\5c \\20 9\"");
    }
}
