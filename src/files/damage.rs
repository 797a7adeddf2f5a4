//! Damage for tests: what disks, copies and editors do to files, by seed.

use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{RngCore, SeedableRng};

/// `good` with one damage, and what it is: always other bytes.
pub fn damaged(good: &[u8], seed: u64) -> (String, Vec<u8>) {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let mut below = |n: usize| (rng.next_u64() % n.max(1) as u64) as usize;
    let mut bad = good.to_vec();
    let at = below(good.len());
    let how = match seed % 6 {
        0 => {
            let bit = below(8);
            bad[at] ^= 1 << bit;
            format!("bit {bit} of byte {at} flipped")
        }
        1 => {
            bad[at] = bad[at].wrapping_add(1 + below(255) as u8);
            format!("byte {at} is another")
        }
        2 => {
            bad.truncate(at);
            format!("cut to {at} bytes")
        }
        3 => {
            let end = (at + 1 + below(512)).min(bad.len());
            bad[at..end].fill(0);
            format!("bytes {at} to {end} are zero")
        }
        4 => {
            let count = 1 + below(64);
            bad.extend((0..count).map(|_| below(256) as u8));
            format!("{count} bytes appended")
        }
        _ => {
            let end = (at + 1 + below(64)).min(bad.len());
            bad.drain(at..end);
            format!("bytes {at} to {end} left out")
        }
    };
    if bad == good {
        // Zeros where zeros stood.
        bad[at] ^= 0x55;
    }
    (how, bad)
}
