//! Colour: picture encodings, and how different two colours look.
