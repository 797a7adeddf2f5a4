//! How long a fault must last before it counts.
