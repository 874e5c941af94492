//! The recording that a stage of a detector holds the sound against, as samples.

use std::io::Cursor;

use recording::Recording;

use super::InputError;

/// The samples of a template at `rate_hz`, in the unit of the file: what a detector makes of them does not depend on it.
///
/// Nothing is resampled.
pub(crate) fn samples(
    what: &str,
    template: &plan::Template,
    rate_hz: f64,
) -> Result<Vec<f32>, InputError> {
    let path = template.path.clone();
    let unread = |why: String| InputError::TemplateUnread {
        what: what.to_owned(),
        path: path.clone(),
        why,
    };
    let Some(bytes) = template.bytes.clone() else {
        return Err(unread("the file could not be read".to_owned()));
    };
    let mut recording = Recording::from_reader(Box::new(Cursor::new(bytes)), &template.path)
        .map_err(|e| unread(e.to_string()))?;
    let info = recording.info();
    let channels = usize::from(info.channels);
    if channels != 1 {
        return Err(InputError::TemplateChannels {
            what: what.to_owned(),
            path,
            channels,
        });
    }
    let found_hz = f64::from(info.rate_hz);
    if found_hz != rate_hz {
        return Err(InputError::TemplateRate {
            what: what.to_owned(),
            path,
            found_hz,
            needed_hz: rate_hz,
        });
    }
    let mut samples = Vec::new();
    let mut piece = vec![0.0; 4096];
    loop {
        let chunk = recording
            .read(&mut piece)
            .map_err(|e| unread(e.to_string()))?;
        if chunk.frames == 0 {
            return Ok(samples);
        }
        if chunk.after_gap {
            return Err(unread(format!(
                "frames are missing before frame {}",
                chunk.first
            )));
        }
        samples.extend_from_slice(&piece[..chunk.frames]);
    }
}
