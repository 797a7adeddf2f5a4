//! Files: what is read is a regular file of a bounded size, and its digest is that of the bytes that were read.
//!
//! The rest of the crate opens no file for reading by itself. A named pipe or a device in the place of a file would
//! wait or never end, and a file larger than its kind can be would fill memory; both are refused here, in one
//! place, with the limit in the message. A digest that is made of a file after it was used says nothing of what was
//! used: the file may have been replaced meanwhile. So whatever goes into a result is digested as it is read, by
//! [`read`] or through a [`Reader`].
//!
//! What is written goes over nothing that is read in the same run ([`refuse_shared`]), and a file that is written by
//! itself over nothing that the program did not write ([`replace`]); results of a run have a folder of their own, see
//! [`crate::evidence::run_folder`].
//!
//! What this cannot see: a file that another program opens by itself (`ffmpeg` a video). Such a file is digested
//! before and after, see [`crate::capture`].

mod apart;
mod content;
#[cfg(test)]
pub(crate) mod damage;
pub mod name;
mod position;
mod read;
mod replace;

pub use apart::{SharedFile, refuse_shared};
pub use content::{Content, Digest, FileContent};
pub use position::line_and_column;
pub use read::{Error, Limit, Reader, open, read, read_text};
pub use replace::{Kind, ReplaceError, refuse_foreign, replace, sync};
