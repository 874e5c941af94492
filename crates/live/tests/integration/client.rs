//! A second MQTT 5 client, written for these checks from the standard alone (OASIS MQTT Version 5.0, 2019, chapters 1 to 3), so that
//! what the link sends is read by something else than its own library.

use std::collections::VecDeque;
use std::io::{ErrorKind, Read, Write};
use std::net::TcpStream;
use std::time::{Duration, Instant};

/// A message as it stood in a PUBLISH packet.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Heard {
    pub(crate) topic: String,
    pub(crate) payload: Vec<u8>,
    pub(crate) content_type: Option<String>,
    pub(crate) properties: Vec<(String, String)>,
    pub(crate) response_topic: Option<String>,
    pub(crate) correlation: Option<Vec<u8>>,
    pub(crate) retained: bool,
}

impl Heard {
    pub(crate) fn property(&self, name: &str) -> Option<&str> {
        let named = self.properties.iter().find(|(n, _)| n == name);
        named.map(|(_, value)| value.as_str())
    }
}

pub(crate) struct Client {
    stream: TcpStream,
    bytes: Vec<u8>,
    heard: VecDeque<Heard>,
}

impl Client {
    /// Connects and waits for the CONNACK.
    pub(crate) fn connect(port: u16, name: &str) -> Client {
        let stream = TcpStream::connect(("127.0.0.1", port)).unwrap();
        stream
            .set_read_timeout(Some(Duration::from_millis(20)))
            .unwrap();
        let mut client = Client {
            stream,
            bytes: Vec::new(),
            heard: VecDeque::new(),
        };
        // 3.1.2: protocol name and version 5, clean start, keep alive 0, no properties; then the client identifier.
        let mut body = string("MQTT");
        body.extend([5, 0x02, 0, 0, 0]);
        body.extend(string(name));
        client.send(0x10, &body);
        let ack = client.packet(0x20);
        assert_eq!(ack[1], 0, "reason code of the CONNACK");
        client
    }

    /// Subscribes with quality of service 0 and waits for the SUBACK.
    pub(crate) fn subscribe(&mut self, filter: &str) {
        let mut body = vec![0, 1, 0];
        body.extend(string(filter));
        body.push(0);
        self.send(0x82, &body);
        let ack = self.packet(0x90);
        assert_eq!(ack.last(), Some(&0), "reason code of the SUBACK");
    }

    /// Publishes with quality of service 0.
    pub(crate) fn publish(&mut self, topic: &str, payload: &[u8], content_type: Option<&str>) {
        self.publish_as(0x30, topic, payload, content_type);
    }

    /// Answers a question: to its response topic, with its correlation data (4.10).
    pub(crate) fn answer(&mut self, to: &str, correlation: &[u8], payload: &[u8]) {
        let mut body = string(to);
        let mut properties = vec![0x03];
        properties.extend(string("application/json"));
        properties.push(0x09);
        properties.extend((correlation.len() as u16).to_be_bytes());
        properties.extend(correlation);
        body.extend(number(properties.len()));
        body.extend(properties);
        body.extend(payload);
        self.send(0x30, &body);
    }

    pub(crate) fn publish_retained(&mut self, topic: &str, payload: &[u8]) {
        self.publish_as(0x31, topic, payload, None);
    }

    fn publish_as(&mut self, kind: u8, topic: &str, payload: &[u8], content_type: Option<&str>) {
        let mut body = string(topic);
        match content_type {
            None => body.push(0),
            Some(text) => {
                let text = string(text);
                body.extend(number(text.len() + 1));
                body.push(0x03);
                body.extend(text);
            }
        }
        body.extend(payload);
        self.send(kind, &body);
    }

    /// The next message within a time.
    pub(crate) fn next(&mut self, within: Duration) -> Option<Heard> {
        let begun = Instant::now();
        loop {
            if let Some(heard) = self.heard.pop_front() {
                return Some(heard);
            }
            if begun.elapsed() > within {
                return None;
            }
            self.read();
            self.sort(0);
        }
    }

    /// All that comes until one for which `last` holds.
    pub(crate) fn until(&mut self, last: impl Fn(&Heard) -> bool) -> Vec<Heard> {
        let mut all = Vec::new();
        loop {
            let heard = self
                .next(Duration::from_secs(60))
                .expect("a message within a minute");
            let done = last(&heard);
            all.push(heard);
            if done {
                return all;
            }
        }
    }

    fn send(&mut self, kind: u8, body: &[u8]) {
        let mut packet = vec![kind];
        packet.extend(number(body.len()));
        packet.extend(body);
        self.stream.write_all(&packet).unwrap();
    }

    fn read(&mut self) {
        let mut buffer = [0; 65_536];
        match self.stream.read(&mut buffer) {
            Ok(0) => panic!("the broker closed the connection"),
            Ok(count) => self.bytes.extend(&buffer[..count]),
            Err(e) if matches!(e.kind(), ErrorKind::WouldBlock | ErrorKind::TimedOut) => {}
            Err(e) => panic!("{e}"),
        }
    }

    /// Waits for a packet of this kind.
    fn packet(&mut self, kind: u8) -> Vec<u8> {
        let begun = Instant::now();
        loop {
            if let Some(body) = self.sort(kind) {
                return body;
            }
            assert!(
                begun.elapsed() < Duration::from_secs(10),
                "no packet {kind:#x}"
            );
            self.read();
        }
    }

    /// Sorts the whole packets that have come; the body of the first of this kind.
    fn sort(&mut self, kind: u8) -> Option<Vec<u8>> {
        loop {
            let mut at = 1;
            let length = take_number(&self.bytes, &mut at)?;
            if self.bytes.len() < at + length {
                return None;
            }
            let first = self.bytes[0];
            let body = self.bytes[at..at + length].to_vec();
            self.bytes.drain(..at + length);
            if first & 0xf0 == 0x30 {
                self.heard.push_back(heard(first, &body));
            } else if first == kind {
                return Some(body);
            }
        }
    }
}

/// 3.3: topic, packet identifier where there is one, properties, payload.
fn heard(first: u8, body: &[u8]) -> Heard {
    let mut at = 0;
    let topic = take_string(body, &mut at);
    assert_eq!(first & 0x06, 0, "quality of service 0 was asked for");
    let length = take_number(body, &mut at).unwrap();
    let end = at + length;
    let (mut content_type, mut properties) = (None, Vec::new());
    let (mut response_topic, mut correlation) = (None, None);
    while at < end {
        let property = body[at];
        at += 1;
        match property {
            0x01 => at += 1,
            0x02 => at += 4,
            0x03 => content_type = Some(take_string(body, &mut at)),
            0x08 => response_topic = Some(take_string(body, &mut at)),
            0x09 => {
                let length = usize::from(u16::from_be_bytes([body[at], body[at + 1]]));
                correlation = Some(body[at + 2..at + 2 + length].to_vec());
                at += 2 + length;
            }
            0x26 => {
                let name = take_string(body, &mut at);
                properties.push((name, take_string(body, &mut at)));
            }
            other => panic!("property {other:#x}"),
        }
    }
    Heard {
        topic,
        payload: body[end..].to_vec(),
        content_type,
        properties,
        response_topic,
        correlation,
        retained: first & 1 == 1,
    }
}

/// 1.5.4: a UTF-8 string behind its length in two bytes.
fn string(text: &str) -> Vec<u8> {
    let mut bytes = (text.len() as u16).to_be_bytes().to_vec();
    bytes.extend(text.as_bytes());
    bytes
}

fn take_string(bytes: &[u8], at: &mut usize) -> String {
    let length = usize::from(u16::from_be_bytes([bytes[*at], bytes[*at + 1]]));
    let text = bytes[*at + 2..*at + 2 + length].to_vec();
    *at += 2 + length;
    String::from_utf8(text).unwrap()
}

/// 1.5.5: seven bits a byte, the lowest first, the eighth says that more follow.
fn number(mut n: usize) -> Vec<u8> {
    let mut bytes = Vec::new();
    loop {
        let low = (n % 128) as u8;
        n /= 128;
        bytes.push(if n > 0 { low | 0x80 } else { low });
        if n == 0 {
            return bytes;
        }
    }
}

fn take_number(bytes: &[u8], at: &mut usize) -> Option<usize> {
    let (mut value, mut shift) = (0, 0);
    loop {
        let byte = *bytes.get(*at)?;
        *at += 1;
        value |= usize::from(byte & 0x7f) << shift;
        shift += 7;
        if byte & 0x80 == 0 {
            return Some(value);
        }
    }
}
