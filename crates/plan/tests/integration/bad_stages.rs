//! Bad plans: stages of detectors that do not go together.

use crate::support::bad;

bad! {
    hop_longer_than_the_window: "window = \"0.25 s\" }" => "window = \"0.25 s\", hop = \"0.3 s\" }";
    decimated_below_the_band: "  { band" => "  { decimate = 16 },\n  { band";
    ordered_background_without_rank: "background = \"median\"" => "background = \"ordered\"";
    median_background_with_rank: "background = \"median\"" => "background = \"median\", rank = \"75 %\"";
    guard_as_long_as_the_background: "over = \"30 s\"" => "over = \"30 s\", guard = \"30 s\"";
    background_too_short_behind_its_guard: "over = \"30 s\"" => "over = \"30 s\", guard = \"29.9 s\"";
    bridge_without_unit: "shortest = \"0.4 s\"" => "shortest = \"0.4 s\", bridge = 0.1";
    at_least_without_of_last: "shortest = \"0.4 s\"" => "shortest = \"0.4 s\", at_least = 3";
    more_than_there_are: "shortest = \"0.4 s\"" => "shortest = \"0.4 s\", at_least = 6, of_last = 5";
    trigger_on_a_spectrogram: "{ level = \"rms\", window" => "{ spectrogram = \"hann\", window";
    ridge_without_a_spectrogram: "{ on_above = \"9 dB\", off_below = \"6 dB\"" => "{ ridge = \"rising\", above = \"9 dB\", slope = [\"40 Hz/s\", \"400 Hz/s\"]";
    ridge_with_crossed_slopes: "{ on_above = \"9 dB\", off_below = \"6 dB\"" => "{ ridge = \"rising\", above = \"9 dB\", slope = [\"400 Hz/s\", \"40 Hz/s\"]";
    slope_in_another_dimension: "{ on_above = \"9 dB\", off_below = \"6 dB\"" => "{ ridge = \"rising\", above = \"9 dB\", slope = [\"40 Hz\", \"400 Hz\"]";
    spectrogram_without_background: "  { level = \"rms\", window = \"0.25 s\" },\n  { background = \"median\", over = \"30 s\" }," => "  { spectrogram = \"hann\", window = \"0.1 s\" },\n  { likeness = [{ after = \"0 s\", frequency = \"60 Hz\" }, { after = \"1 s\", frequency = \"200 Hz\" }], width = \"20 Hz\" },";
    likeness_without_a_spectrogram: "  { on_above" => "  { likeness = [{ after = \"0 s\", frequency = \"60 Hz\" }, { after = \"1 s\", frequency = \"200 Hz\" }], width = \"20 Hz\" },\n  { on_above";
    contour_of_one_point: "  { on_above" => "  { likeness = [{ after = \"0 s\", frequency = \"60 Hz\" }], width = \"20 Hz\" },\n  { on_above";
    contour_that_begins_late: "  { on_above" => "  { likeness = [{ after = \"1 s\", frequency = \"60 Hz\" }, { after = \"2 s\", frequency = \"200 Hz\" }], width = \"20 Hz\" },\n  { on_above";
    contour_that_goes_back: "  { on_above" => "  { likeness = [{ after = \"0 s\", frequency = \"60 Hz\" }, { after = \"0 s\", frequency = \"200 Hz\" }], width = \"20 Hz\" },\n  { on_above";
    judgement_after_early_confirmation: "hold_off = \"10 s\" }," => "hold_off = \"10 s\" },\n  { likely = \"50 %\", constant = -3.1, weights = { excess_db = 0.3 } },";
    judgement_with_an_unknown_feature: "hold_off = \"10 s\" }," => "hold_off = \"10 s\", confirm = \"at-end\" },\n  { likely = \"50 %\", constant = -3.1, weights = { exces_db = 0.3 } },";
    judgement_alone: "  { on_above = \"9 dB\", off_below = \"6 dB\", shortest = \"0.4 s\", longest = \"2 s\", hold_off = \"10 s\" },\n" => "  { likely = \"50 %\", constant = -3.1, weights = { excess_db = 0.3 } },\n";
    two_that_decide: "  { on_above" => "  { ridge = \"rising\", above = \"9 dB\", slope = [\"40 Hz/s\", \"400 Hz/s\"], shortest = \"0.4 s\", longest = \"2 s\", hold_off = \"10 s\" },\n  { on_above";
    template_out_of_the_folder: "{ level = \"rms\", window = \"0.25 s\" }" => "{ matched = \"../up.wav\" }";
    template_that_is_not_there: "{ level = \"rms\", window = \"0.25 s\" }" => "{ matched = \"calls/up.wav\" }";
    learned_out_of_the_folder: "{ level = \"rms\", window = \"0.25 s\" },\n  { background = \"median\", over = \"30 s\" }," => "{ learned = \"../call.onnx\", window = \"1 s\", hop = \"0.25 s\", input = \"unit-rms\", gives = \"probability\" },";
    learned_that_is_not_there: "{ level = \"rms\", window = \"0.25 s\" },\n  { background = \"median\", over = \"30 s\" }," => "{ learned = \"call.onnx\", window = \"1 s\", hop = \"0.25 s\", input = \"unit-rms\", gives = \"probability\" },";
    learned_under_a_background: "{ level = \"rms\", window = \"0.25 s\" }" => "{ learned = \"call.onnx\", window = \"1 s\", hop = \"0.25 s\", input = \"unit-rms\", gives = \"probability\" }";
    learned_and_a_level: "{ band" => "{ learned = \"call.onnx\", window = \"1 s\", hop = \"0.25 s\", input = \"unit-rms\", gives = \"probability\" },\n  { band";
    learned_without_what_it_gives: "{ level = \"rms\", window = \"0.25 s\" },\n  { background = \"median\", over = \"30 s\" }," => "{ learned = \"call.onnx\", window = \"1 s\", hop = \"0.25 s\", input = \"unit-rms\" },";
    learned_of_pressure_without_reference: "{ level = \"rms\", window = \"0.25 s\" },\n  { background = \"median\", over = \"30 s\" }," => "{ learned = \"call.onnx\", window = \"1 s\", hop = \"0.25 s\", input = \"pressure\", gives = \"probability\" },";
    learned_of_unit_rms_with_reference: "{ level = \"rms\", window = \"0.25 s\" },\n  { background = \"median\", over = \"30 s\" }," => "{ learned = \"call.onnx\", window = \"1 s\", hop = \"0.25 s\", input = \"unit-rms\", reference = \"120 dB re 1 uPa\", gives = \"probability\" },";
    learned_with_a_reference_in_air: "{ level = \"rms\", window = \"0.25 s\" },\n  { background = \"median\", over = \"30 s\" }," => "{ learned = \"call.onnx\", window = \"1 s\", hop = \"0.25 s\", input = \"pressure\", reference = \"94 dB re 20 uPa\", gives = \"probability\" },";
    hop_of_learned_longer_than_its_window: "{ level = \"rms\", window = \"0.25 s\" },\n  { background = \"median\", over = \"30 s\" }," => "{ learned = \"call.onnx\", window = \"1 s\", hop = \"1.5 s\", input = \"unit-rms\", gives = \"probability\" },";
}
