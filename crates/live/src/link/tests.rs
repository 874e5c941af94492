//! The link without a socket.

use rumqttc::v5::mqttbytes::v5::{ConnAck, ConnectReturnCode};

use super::*;

/// A connection comes again while the client's channel is full: the subscription is asked for as soon as it has room, and before all else.
#[test]
fn verif_a_subscription_that_finds_no_room_is_asked_for_again() {
    let options = MqttOptions::new("test", "127.0.0.1", 1);
    let (client, mut connection) = Client::new(options, 1);
    let (_happened, events) = sync_channel(1);
    let (go_on, _gone_on) = channel();
    let settings = LinkSettings {
        address: Address::parse("tcp://127.0.0.1:1").unwrap(),
        client: "test".to_owned(),
        login: None,
        queue: 1,
    };
    let filler = client.clone();
    let names = Names::new("p").unwrap();
    let mut link = Link::over(client, events, go_on, &settings, &names);
    filler
        .try_publish("x", QoS::AtMostOnce, false, "x")
        .unwrap();
    let ack = ConnAck {
        session_present: false,
        code: ConnectReturnCode::Success,
        properties: None,
    };
    let event = Event::Incoming(Packet::ConnAck(ack));
    let mut came_in = Vec::new();
    link.happen(Happened::Event(Box::new(event)), &mut came_in)
        .unwrap();
    let message = Message {
        topic: b"t".to_vec(),
        payload: Vec::new(),
        content_type: None,
        properties: Vec::new(),
        response_topic: None,
        correlation: None,
        retained: false,
    };
    link.tell(message);
    assert!(!link.subscribed, "the channel is full");
    connection.eventloop.clean();
    link.attend(Duration::ZERO, &mut came_in).unwrap();
    assert!(link.subscribed);
    assert_eq!(link.waiting(), (1, 1), "the subscription took the room");
}
