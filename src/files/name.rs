//! Names of files that are made from ids: of regions, channels, classes.

use super::Digest;

/// Longest piece of a name that stands for one id, bytes. Three of them, a prefix and an ending stay below the
/// 255 bytes that a file system allows.
const LONGEST: usize = 64;

/// `id` as a piece of a file name: letters and digits of ASCII, `-` and `_` stand for themselves, every other byte is
/// written as `~` and two hexadecimal digits. What would be longer than 64 bytes is cut, and ends in `~~` and
/// the begin of its SHA-256. So two ids never have one name, none leaves its folder or hides, and
/// none is too long.
#[must_use]
pub fn of_id(id: &str) -> String {
    let mut name = String::with_capacity(id.len());
    for byte in id.bytes() {
        if byte.is_ascii_alphanumeric() || matches!(byte, b'-' | b'_') {
            name.push(char::from(byte));
        } else {
            name.push_str(&format!("~{byte:02x}"));
        }
    }
    if name.len() <= LONGEST {
        return name;
    }
    let mut digest = Digest::default();
    digest.update(id.as_bytes());
    let sha256 = digest.content().sha256;
    let tail = format!("~~{}", &sha256[..16]);
    // A cut within an escape is harmless: the digest tells names apart.
    name.truncate(LONGEST - tail.len());
    name + &tail
}

/// Several ids as one file name without its ending, in their order, apart by dots: no id holds one there.
#[must_use]
pub fn of_ids<'i>(ids: impl IntoIterator<Item = &'i str>) -> String {
    let pieces: Vec<String> = ids.into_iter().map(of_id).collect();
    pieces.join(".")
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn plain_ids_are_their_own_names() {
        assert_eq!(of_id("air-speed_2"), "air-speed_2");
        assert_eq!(of_id("a/b"), "a~2fb");
        assert_eq!(of_id("*"), "~2a");
        assert_eq!(of_ids(["size", "a.b", "c"]), "size.a~2eb.c");
    }

    #[test]
    fn long_ids_stay_short_and_apart() {
        let [a, b] = ["x", "y"].map(|end| of_id(&("r".repeat(300) + end)));
        assert_eq!((a.len(), b.len()), (LONGEST, LONGEST));
        assert_ne!(a, b);
        assert_ne!(of_id(&a), a, "a name taken as an id is another id");
    }

    proptest! {
        #[test]
        fn names_are_safe_and_never_shared(a in "\\PC{0,90}", b in "\\PC{0,90}") {
            let names = [of_id(&a), of_id(&b)];
            for name in &names {
                prop_assert!(name.len() <= LONGEST);
                prop_assert!(name.bytes().all(|c| c.is_ascii_alphanumeric() || b"-_~".contains(&c)));
            }
            prop_assert_eq!(a == b, names[0] == names[1]);
        }
    }
}
