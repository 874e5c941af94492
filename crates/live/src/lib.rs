//! The link between a rehearsal and the world: topics mirrored to and from an MQTT 5 broker.
