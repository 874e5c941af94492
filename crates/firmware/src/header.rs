//! The header of a detector in C.

use core::fmt::Write as _;

use detect::Workings;

use crate::state::State;
use crate::words::Words;

/// Notices, and why one came to nothing: names and meanings, from 0.
const NOTICES: [(&str, &str); 4] = [
    ("ONSET", "a sound may have begun"),
    ("CONFIRMED", "it has met what is asked for"),
    ("ENDED", "it is over; begin and the fields after it hold"),
    (
        "DROPPED",
        "it came to nothing or is taken back; reason holds",
    ),
];
const REASONS: [(&str, &str); 4] = [
    ("TOO_SHORT", "over too soon"),
    ("TOO_LONG", "it lasted too long"),
    ("TOO_FEW_PULSES", "no further pulse came in time"),
    (
        "STRETCH_ENDED",
        "the samples ended before it could be confirmed",
    ),
];

pub(crate) fn header(workings: &Workings, words: &Words, state: &State) -> String {
    let Words { low, high, says } = words;
    let rate_hz = workings.rate_hz;
    let mut out = format!(
        "/* The detector {says}. Made from its plan by soundline; C99, fixed memory, no heap. */\n\
         #ifndef {high}_H\n#define {high}_H\n\n#include <stdbool.h>\n#include <stddef.h>\n#include <stdint.h>\n\n\
         #ifdef __cplusplus\nextern \"C\" {{\n#endif\n\n\
         /* Samples per second that it takes. */\n#define {high}_RATE_HZ {rate_hz:?}\n\n\
         /* What pushing returns. */\nenum {{\n    {high}_OK = 0, /* taken in */\n    \
         {high}_NOT_FINITE = 1 /* a sample was no number: nothing more is taken in before the next gap */\n}};\n"
    );
    for (title, names) in [
        ("What is told.", &NOTICES),
        ("Why a sound was dropped.", &REASONS),
    ] {
        let _ = writeln!(out, "\n/* {title} */\nenum {{");
        for (number, (name, meaning)) in names.iter().enumerate() {
            let _ = writeln!(out, "    {high}_{name} = {number}, /* {meaning} */");
        }
        out.push_str("};\n");
    }
    let _ = write!(
        out,
        "\n/* What is told, and when it could be known. Samples are counted from the begin of the stretch. */\n\
         typedef struct {low}_told {{\n    \
         int notice;\n    int reason;\n    uint64_t id; /* from 0, in the order of onsets, also across gaps */\n    \
         uint64_t known_at; /* last sample that was needed */\n    \
         uint64_t begin; /* first sample */\n    uint64_t end; /* sample after the last */\n    uint64_t peak; /* middle of the loudest cell */\n    \
         double peak_level_db;\n    double mean_level_db;\n    double background_db; /* at the begin; NAN without a background */\n    \
         double score_db; /* greatest excess */\n    uint32_t pulses; /* of a train */\n    \
         double interval_mean_s; /* of a train of two pulses or more */\n    double interval_spread; /* their standard deviation over their mean */\n    \
         bool cut; /* the samples ended while it went on */\n}} {low}_told;\n\n\
         /* Takes what is told; with is what was given with the samples. */\ntypedef void (*{low}_tell)(void *with, const {low}_told *told);\n\n\
         /* A level and the instant it stands for; of the source's own use. */\n\
         typedef struct {low}_cell {{\n    uint64_t begin;\n    uint64_t known_at;\n    double level_db;\n    double power;\n    double background_db;\n    double value_db;\n}} {low}_cell;\n\n\
         /* All memory of the detector; its fields are of the source's own use. */\ntypedef struct {low} {{\n{}}} {low};\n\n\
         /* Makes it new. */\nvoid {low}_begin({low} *d);\n\n\
         /* Takes the next samples of a stretch, in micropascals, in blocks of any length: what is told does not depend on how they were cut. */\n\
         int {low}_push({low} *d, const float *x, size_t samples, {low}_tell tell, void *with);\n\n\
         /* Ends the stretch: an open sound is ended or dropped, all begins anew, samples are counted from 0 again. */\n\
         void {low}_gap({low} *d, {low}_tell tell, void *with);\n\n\
         #ifdef __cplusplus\n}}\n#endif\n\n#endif\n",
        state.fields(&format!("{low}_cell"))
    );
    out
}
