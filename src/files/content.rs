//! Bytes, by their digests.

use std::path::PathBuf;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use sha2::Digest as _;

/// Bytes, by their digests.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Content {
    /// Number of bytes.
    pub bytes: u64,
    /// SHA-256 (FIPS 180-4), lower-case hexadecimal.
    pub sha256: String,
    /// CRC-32 (RFC 1952).
    pub crc32: u32,
}

/// A file that was read, and what it held then.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct FileContent {
    /// The file, as it was opened.
    pub path: PathBuf,
    /// The bytes that were read, all of them.
    pub content: Content,
}

/// Digests of bytes that come in pieces.
#[derive(Clone, Default)]
pub struct Digest {
    sha256: sha2::Sha256,
    crc32: crc32fast::Hasher,
    bytes: u64,
}

impl Digest {
    /// Takes the next piece in.
    pub fn update(&mut self, piece: &[u8]) {
        self.sha256.update(piece);
        self.crc32.update(piece);
        self.bytes += piece.len() as u64;
    }

    /// Of all pieces in their order.
    #[must_use]
    pub fn content(self) -> Content {
        Content {
            bytes: self.bytes,
            sha256: self
                .sha256
                .finalize()
                .iter()
                .map(|b| format!("{b:02x}"))
                .collect(),
            crc32: self.crc32.finalize(),
        }
    }
}

impl Content {
    /// Of bytes in memory.
    #[must_use]
    pub fn of(bytes: &[u8]) -> Self {
        let mut digest = Digest::default();
        digest.update(bytes);
        digest.content()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn digests_are_those_of_the_standards() {
        // FIPS 180-4's example "abc"; the check value of CRC-32 is that of "123456789".
        assert_eq!(
            Content::of(b"abc").sha256,
            "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
        );
        assert_eq!(Content::of(b"123456789").crc32, 0xcbf4_3926);
    }

    #[test]
    fn pieces_digest_as_the_whole() {
        let bytes: Vec<u8> = (0..10_007u32).map(|k| (k % 251) as u8).collect();
        let mut digest = Digest::default();
        bytes.chunks(977).for_each(|piece| digest.update(piece));
        assert_eq!(digest.content(), Content::of(&bytes));
    }
}
