//! What a rehearsal of a cue sheet rests on: its content, and that of every recording that it plays.

use std::fs::File;
use std::io::{self, Read};
use std::path::Path;

use plan::{CueReading, SoundKind};
use sha2::{Digest, Sha256};

/// SHA-256 in hexadecimal. Without recordings it is the digest of the sheet.
///
/// # Errors
/// A sentence that names the recording that cannot be read.
pub(crate) fn cue_digest(read: &CueReading) -> Result<String, String> {
    let mut whole = Sha256::new();
    whole.update(&read.digest);
    let mut plays = false;
    for sound in read.cues.iter().flat_map(|cues| &cues.sounds) {
        if let SoundKind::Recording { path, .. } = &sound.what {
            plays = true;
            let content = content_digest(path)
                .map_err(|error| format!("sound.{} plays {}: {error}", sound.id, path.display()))?;
            whole.update(content);
        }
    }
    Ok(if plays {
        plan::hex(&whole.finalize())
    } else {
        read.digest.clone()
    })
}

fn content_digest(path: &Path) -> io::Result<[u8; 32]> {
    let mut file = File::open(path)?;
    let mut hash = Sha256::new();
    let mut piece = vec![0; 1 << 16];
    loop {
        match file.read(&mut piece)? {
            0 => return Ok(hash.finalize().into()),
            n => hash.update(&piece[..n]),
        }
    }
}
