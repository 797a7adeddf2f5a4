//! What stands in the page itself: pictures as data URIs, and the policy that lets the browser run the page's own
//! script and style and nothing else.

use base64::Engine;
use base64::engine::general_purpose::STANDARD as BASE64;
use serde::{Serialize, Serializer};
use sha2::Digest;

/// A PNG file that stands in the page.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Png(pub Vec<u8>);

impl Png {
    /// As the address of a picture.
    #[must_use]
    pub fn uri(&self) -> String {
        format!("data:image/png;base64,{}", BASE64.encode(&self.0))
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
    let digest = |text: &str| BASE64.encode(sha2::Sha256::digest(text));
    format!(
        "default-src 'none'; img-src data:; style-src 'sha256-{}'; script-src 'sha256-{}'; base-uri 'none'; form-action 'none'",
        digest(style),
        digest(script)
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_picture_is_a_data_uri() {
        // RFC 4648, 10.
        assert_eq!(
            Png(b"foob".to_vec()).uri(),
            "data:image/png;base64,Zm9vYg=="
        );
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
