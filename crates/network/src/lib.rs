//! Store-and-forward links, topics, payload sizes and the uplink queue, on the timeline.
