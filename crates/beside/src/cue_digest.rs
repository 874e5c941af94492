//! What a rehearsal of a cue sheet rests on: its content, and that of every recording that it plays.

use plan::{CueReading, SoundKind};
use sha2::{Digest, Sha256};

use crate::recordings::content_digest;

/// SHA-256 in hexadecimal. Without recordings it is the digest of the sheet.
///
/// # Errors
/// A sentence that names the recording that cannot be read.
pub fn cue_digest(read: &CueReading) -> Result<String, String> {
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
