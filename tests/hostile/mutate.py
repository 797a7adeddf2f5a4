"""Damage to bytes and to text: each function takes content and a generator of random numbers."""

import re


def flip(content, rng):
    out = bytearray(content)
    for _ in range(rng.choice([1, 1, 1, 3, 30])):
        if out:
            out[rng.randrange(len(out))] ^= 1 << rng.randrange(8)
    return bytes(out)


def cut(content, rng):
    return content[:rng.randrange(len(content))] if content else content


def empty(content, rng):
    return b""


def zeroed(content, rng):
    at, n = _span(content, rng)
    return content[:at] + bytes(n) + content[at + n:]


def ones(content, rng):
    at, n = _span(content, rng)
    return content[:at] + b"\xff" * n + content[at + n:]


def swapped(content, rng):
    at, n = _span(content, rng)
    other = rng.randrange(max(1, len(content) - n))
    first, second = sorted((at, other))
    if first + n > second:
        return content[second:] + content[:second]
    return (content[:first] + content[second:second + n] + content[first + n:second] + content[first:first + n]
            + content[second + n:])


def repeated(content, rng):
    at, n = _span(content, rng)
    return content[:at + n] + content[at:at + n] * rng.choice([1, 2, 50]) + content[at + n:]


def left_out(content, rng):
    at, n = _span(content, rng)
    return content[:at] + content[at + n:]


def inserted(content, rng):
    at = rng.randrange(len(content) + 1)
    return content[:at] + rng.randbytes(rng.choice([1, 4, 300])) + content[at:]


def padded(content, rng):
    return content + rng.choice([b"\0" * 4096, b"\n" * 10, b"}", b"\xff" * 100, content[-200:]])


NUMBERS = [b"NaN", b"nan", b"inf", b"-inf", b"1e308", b"-1e308", b"1e999", b"1e-320", b"0", b"-0", b"-1",
           b"18446744073709551615", b"18446744073709551616", b"-9223372036854775809", b"4294967296", b"2147483648",
           b"99999999999999999999999999999999999999", b"0x10", b"1_000", b"12,7", b"1.7976931348623157e309", b""]


def number(content, rng):
    found = list(re.finditer(rb"-?\d+(\.\d+)?([eE][-+]?\d+)?", content))
    if not found:
        return flip(content, rng)
    m = rng.choice(found)
    return content[:m.start()] + rng.choice(NUMBERS) + content[m.end():]


def digit(content, rng):
    """Another digit: what nobody sees in passing."""
    found = [m.start() for m in re.finditer(rb"\d", content)]
    if not found:
        return flip(content, rng)
    at = rng.choice(found)
    return content[:at] + rng.choice([d for d in b"0123456789".decode() if ord(d) != content[at]]).encode() + content[at + 1:]


def word(content, rng):
    """One word in the place of another."""
    found = list(re.finditer(rb"[A-Za-z_]{2,}", content))
    if len(found) < 2:
        return flip(content, rng)
    a, b = rng.choice(found), rng.choice(found)
    return content[:a.start()] + b[0] + content[a.end():]


STRANGE = [b"\0", b"\x1b[2J\x1b]0;owned\x07", b"\xff\xfe", b"\xed\xa0\x80", "\u202e".encode(), b"\xef\xbb\xbf", b"\r",
           b"[" * 2000, b"{\"a\":" * 2000, b"A" * 100_000, b"../" * 40, b"\"", b"'", b"#", b"=1+1", b"%s%n", b"/dev/zero"]


def strange(content, rng):
    at = rng.randrange(len(content) + 1)
    return content[:at] + rng.choice(STRANGE) + content[at:]


def line(content, rng):
    """A line left out, twice, elsewhere, or very long."""
    lines = content.splitlines(keepends=True)
    if len(lines) < 2:
        return flip(content, rng)
    k = rng.randrange(len(lines))
    how = rng.randrange(4)
    if how == 0:
        del lines[k]
    elif how == 1:
        lines.insert(k, lines[k])
    elif how == 2:
        lines.insert(rng.randrange(len(lines)), lines.pop(k))
    else:
        lines[k] = lines[k].rstrip() * 300 + b"\n"
    return b"".join(lines)


def _span(content, rng):
    if not content:
        return 0, 0
    n = min(len(content), rng.choice([1, 4, 16, 300, 5000]))
    return rng.randrange(len(content) - n + 1), n


BYTES = [flip, flip, cut, empty, zeroed, ones, swapped, repeated, left_out, inserted, padded]
TEXT = [*BYTES, number, number, digit, word, strange, line]


def damaged(content: bytes, rng, is_text: bool) -> tuple[str, bytes]:
    """Content that is not what it was, and how that was done."""
    for _ in range(50):
        how = rng.choice(TEXT if is_text else BYTES)
        out = how(content, rng)
        if out != content:
            return how.__name__, out
    return "inserted", content + b"?"
