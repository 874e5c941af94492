//! What a rehearsal of a cue sheet rests on: its content, and that of every recording that it plays.

use plan::{CueReading, SoundKind};
use sha2::{Digest, Sha256};

use crate::kept::Kept;

/// SHA-256 in hexadecimal. Without recordings it is the digest of the sheet.
///
/// # Errors
/// A sentence that names the recording that cannot be read.
pub fn cue_digest(read: &CueReading) -> Result<String, String> {
    kept_cue_digest(read, &Kept::default(), &|| true).expect("nothing stops the reading")
}

/// The same with what was read before; `None` where `go_on` stopped the reading.
pub(crate) fn kept_cue_digest(
    read: &CueReading,
    kept: &Kept,
    go_on: &dyn Fn() -> bool,
) -> Option<Result<String, String>> {
    let mut whole = Sha256::new();
    whole.update(&read.digest);
    let mut plays = false;
    for sound in read.cues.iter().flat_map(|cues| &cues.sounds) {
        if let SoundKind::Recording { path, .. } = &sound.what {
            plays = true;
            match kept.content_digest(path, go_on) {
                Ok(content) => whole.update(content?),
                Err(error) => {
                    let shown = path.display();
                    return Some(Err(format!("sound.{} plays {shown}: {error}", sound.id)));
                }
            }
        }
    }
    Some(Ok(if plays {
        plan::hex(&whole.finalize())
    } else {
        read.digest.clone()
    }))
}
