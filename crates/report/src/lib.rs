//! Tables, JSON and pictures of results.

mod calendar;
mod output;
mod pack;
mod picture;
mod told;

pub use output::{
    Inputs, OutputError, Overwrite, PendingOutput, refuse_output, write_atomically,
    write_atomically_with,
};
pub use pack::{
    MANIFEST, ManifestError, NotWritten, PLAN_DIGEST, Pack, PackError, PackFile, PackOf, PackState,
    PdfError, Strange, manifest, module_settings, pack, verify,
};
pub use picture::{
    Analysis, Axis, AxisScale, ColourRange, EventMark, Frame, Grid, LevelLine, LevelPicture,
    LevelPoints, LevelTrace, LineStyle, Picture, PictureError, PictureSize, Pooling, RangePicture,
    Spectrogram, SpectrogramBuilder, SpectrogramPicture, SpectrogramSettings, SpectrumReference,
    certainty_picture_png, certainty_picture_svg, chain_picture_png, chain_picture_svg, lettered,
    mooring_picture_png, mooring_picture_svg, operating_picture_png, operating_picture_svg,
    paths_picture_png, paths_picture_svg, pixels_png, places_picture_png, places_picture_svg,
    range_picture_png, range_picture_svg, scale_colour, si_label, sizes_picture_png,
    sizes_picture_svg, slip_picture_png, slip_picture_svg, start_picture_png, start_picture_svg,
    threshold_picture_png, threshold_picture_svg, year_picture_png, year_picture_svg,
};
pub use told::{
    Allowance, Compared, FailureCues, Judged, PackedTopic, ReadMessage, SentMessage, Tuned,
    TunedEvent, UplinkFound, WeightReserveFound, Written, certainty_json, certainty_text,
    chain_json, chain_text, check_brief, check_json, check_text, check_text_by_leverage,
    compare_json, compare_markdown, compare_text, degrees, depths_json, difference, dockside_csv,
    dockside_json, dockside_text, dockside_value, elevation_json, evidence_table_json,
    evidence_table_text, failure_cues, failures_json, failures_text, faults_json, faults_text,
    hours_json, hours_text, leverage_json, matched_words, mistakes_json, mooring_json,
    mooring_text, paths_json, paths_text, places_json, places_text, range_json, range_text,
    read_json, read_text, readings_csv, record_json, recovery_json, recovery_text, rehearsal_json,
    rehearsal_text, remedies_of_one, remedy_end, remedy_json, remedy_text, reserve_json,
    reserve_text, sent_json, sent_text, shadow_json, slip_json, slip_text, start_json, start_text,
    topics_json, topics_text, trace_json, tune_csv, tune_json, tune_text, uplink_json, uplink_text,
    year_json, year_text,
};
