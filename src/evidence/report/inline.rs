//! What stands in the page itself: pictures as data URIs, and the policy that lets the browser run the page's own
//! script and style and nothing else.

use serde::{Serialize, Serializer};
use sha2::Digest;

/// A PNG file that stands in the page.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Png(pub Vec<u8>);

impl Png {
    /// As the address of a picture.
    #[must_use]
    pub fn uri(&self) -> String {
        format!("data:image/png;base64,{}", base64(&self.0))
    }
}

impl Serialize for Png {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_str(&self.uri())
    }
}

/// The content security policy of a page with this one script and this one style: pictures that stand in the page,
/// nothing from elsewhere, and no script or style but these, whatever got into the page by other ways.
#[must_use]
pub fn policy(script: &str, style: &str) -> String {
    let digest = |text: &str| base64(&sha2::Sha256::digest(text));
    format!(
        "default-src 'none'; img-src data:; style-src 'sha256-{}'; script-src 'sha256-{}'; base-uri 'none'; form-action 'none'",
        digest(style),
        digest(script)
    )
}

/// RFC 4648, 4.
fn base64(bytes: &[u8]) -> String {
    const DIGITS: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let mut text = String::with_capacity(bytes.len().div_ceil(3) * 4);
    for three in bytes.chunks(3) {
        let bits =
            three.iter().fold(0u32, |sum, b| sum << 8 | u32::from(*b)) << (8 * (3 - three.len()));
        for k in 0..4 {
            text.push(if k <= three.len() {
                DIGITS[(bits >> (18 - 6 * k) & 63) as usize] as char
            } else {
                '='
            });
        }
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn base64_is_that_of_rfc_4648() {
        assert_eq!(base64(b""), "");
        assert_eq!(base64(b"f"), "Zg==");
        assert_eq!(base64(b"fo"), "Zm8=");
        assert_eq!(base64(b"foobar"), "Zm9vYmFy");
    }

    #[test]
    fn the_policy_names_the_digests_and_lets_nothing_else_in() {
        // FIPS 180-4's "abc", in base 64.
        let policy = policy("abc", "");
        assert!(
            policy.contains("script-src 'sha256-ungWv48Bz+pBQUDeXa4iI7ADYaOWF3qctBD/YfIAFa0='"),
            "{policy}"
        );
        assert!(
            policy.starts_with("default-src 'none';") && !policy.contains("unsafe"),
            "{policy}"
        );
    }
}
