//! What a routine does: the closed set of actions, with the things it does them to by their number in the binding.

/// What a field of a message is to hold.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Held {
    /// A number of which nothing is known.
    NoData,
    /// A number, in the field's unit.
    Number(f64),
    /// One of the field's list, from 0.
    Choice(u32),
    /// Yes or no.
    Flag(bool),
    /// An instant, ns since 1970.
    Time(i64),
}

/// Where something stands in the text of a routine.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Place {
    /// Line, from 1; absent where it stands nowhere.
    pub line: Option<usize>,
    /// Column, from 1, counted in characters.
    pub column: Option<usize>,
}

/// Something that a routine does.
#[derive(Clone, Debug, PartialEq)]
pub enum Deed {
    /// Publish a message.
    Publish {
        /// The topic.
        topic: usize,
        /// One value a field of the topic; absent where it says nothing of them.
        values: Option<Vec<Held>>,
    },
    /// Ask another module.
    Ask {
        /// The request.
        request: usize,
        /// One value a field of the question; absent where it says nothing of them.
        values: Option<Vec<Held>>,
    },
    /// Answer the question that started the run.
    Answer {
        /// One value a field of the answer; absent where it says nothing of them.
        values: Option<Vec<Held>>,
    },
    /// Queue a topic's payload on an uplink.
    SendUp {
        /// The uplink.
        uplink: usize,
        /// The topic whose payload is sent.
        topic: usize,
        /// One value a field of the topic; absent where it says nothing of them.
        values: Option<Vec<Held>>,
    },
    /// Switch an output.
    Switch {
        /// The output.
        output: usize,
        /// On or off.
        on: bool,
        /// For how long, s, above zero; for good when absent.
        for_s: Option<f64>,
    },
    /// Enter a load state.
    Enter {
        /// The state.
        state: usize,
        /// For how long, s, above zero.
        for_s: f64,
    },
    /// Set a detector.
    Set {
        /// The detector.
        detector: usize,
        /// Its threshold, dB; as it is when absent.
        threshold_db: Option<f64>,
        /// Its hold-off, s; as it is when absent.
        hold_off_s: Option<f64>,
    },
    /// Write a line to the log.
    Log {
        /// The text.
        text: String,
    },
}
