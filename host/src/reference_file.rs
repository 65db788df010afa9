//! References on disk.

use crate::durable;
use crate::report::system::words;
use cuepost_engine::file::{FileFault, MakeFault};
use cuepost_engine::reference::{self, ReferenceStore, ReferenceView};
use std::io::{self, Read};
use std::path::{Path, PathBuf};

/// A reference with room for 40 km at 5 m.
pub type HostReference = ReferenceStore<8192, 255, 512>;

/// The longest file read, bytes: more than any reference has.
const FILE_MAX: u64 = 1 << 20;

/// Why a reference file cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum Fault {
    /// It cannot be opened or read.
    #[error("{path}: {why}", path = path.display(), why = words(source))]
    Open {
        /// The file.
        path: PathBuf,
        /// What the system says.
        source: io::Error,
    },
    /// It is not a whole, valid reference.
    #[error("{path}: not a usable reference: {source}; build it again with `cuepost learn`", path = path.display())]
    Content {
        /// The file.
        path: PathBuf,
        /// What is wrong at which byte.
        source: FileFault,
    },
    /// It cannot be written.
    #[error("{path}: cannot be written: {why}", path = path.display(), why = words(source))]
    Write {
        /// The file.
        path: PathBuf,
        /// What the system says.
        source: io::Error,
    },
    /// The reference is not valid, so it is not written.
    #[error("{path}: not written, the reference is not valid: {source}", path = path.display())]
    Make {
        /// The file.
        path: PathBuf,
        /// What is wrong with the reference.
        source: MakeFault,
    },
}

/// Reads a reference; the id is the CRC-32 that names it.
pub fn read(path: &Path) -> Result<(Box<HostReference>, u32), Fault> {
    let open = |source| Fault::Open {
        path: path.to_owned(),
        source,
    };
    let mut bytes = Vec::new();
    std::fs::File::open(path)
        .and_then(|file| file.take(FILE_MAX + 1).read_to_end(&mut bytes))
        .map_err(open)?;
    let mut store = Box::new(HostReference::new());
    let id = reference::decode(&bytes, &mut *store).map_err(|source| Fault::Content {
        path: path.to_owned(),
        source,
    })?;
    Ok((store, id))
}

/// The bytes of a reference file.
pub fn encode(view: &ReferenceView<'_>) -> Result<Vec<u8>, MakeFault> {
    let mut bytes = vec![0; FILE_MAX as usize];
    let n = reference::encode(view, &mut bytes)?;
    bytes.truncate(n);
    bytes.shrink_to_fit();
    Ok(bytes)
}

/// Writes a reference in one step ([`durable::write`]); returns its id.
pub fn write(path: &Path, view: &ReferenceView<'_>) -> Result<u32, Fault> {
    let bytes = encode(view).map_err(|source| Fault::Make {
        path: path.to_owned(),
        source,
    })?;
    durable::write(path, &bytes).map_err(|source| Fault::Write {
        path: path.to_owned(),
        source,
    })?;
    Ok(reference::id(&bytes).unwrap_or(0))
}

/// True when a file begins as a reference does.
pub fn looks_like(head: &[u8]) -> bool {
    head.starts_with(&reference::MAGIC)
}
