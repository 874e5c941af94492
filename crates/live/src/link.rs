//! The socket: an MQTT 5 client that connects again by itself, with a bounded queue of what is to be told.
//!
//! What is told goes with quality of service 1, so that it is known what the broker has. Each connection is a clean start; what was
//! not acknowledged when one broke is sent again on the next, so that a subscriber may see a message twice (its user property `message`
//! tells them apart). Between two attempts to connect lie 0.25 s, doubled each time up to 8 s. A broker that takes nothing for
//! [`STALLED`] is held to be gone.

use std::collections::VecDeque;
use std::sync::mpsc::{Receiver, RecvTimeoutError, Sender, SyncSender, channel, sync_channel};
use std::time::{Duration, Instant};

use rumqttc::Outgoing;
use rumqttc::v5::mqttbytes::QoS;
use rumqttc::v5::mqttbytes::v5::{
    ConnectProperties, Filter, LastWill, LastWillProperties, Packet, PubAckReason, Publish,
    PublishProperties, RetainForwardRule, SubscribeReasonCode,
};
use rumqttc::v5::{Client, Connection, Event, MqttOptions};

use crate::address::Address;
use crate::names::Names;

/// Longest without any sign of a broker that should answer a ping each 5 s.
const STALLED: Duration = Duration::from_secs(15);
const KEEP_ALIVE: Duration = Duration::from_secs(5);
const CONNECT_WITHIN_S: u64 = 5;
const FIRST_BACK_OFF: Duration = Duration::from_millis(250);
const LONGEST_BACK_OFF: Duration = Duration::from_secs(8);
/// Messages given to the client and not acknowledged.
const WINDOW: usize = 64;
/// Events of the connection that wait for the master.
const WAITING: usize = 1024;
/// Largest packet that the broker may send.
const LARGEST_PACKET_BYTES: u32 = 1 << 20;

/// What the broker tells as the state of the rehearsal when the link is lost.
const LOST: &str = r#"{"state":"lost"}"#;

/// A user and the password.
#[derive(Clone)]
pub struct Login {
    /// User.
    pub user: String,
    /// Password; never shown.
    pub password: String,
}

impl std::fmt::Debug for Login {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "Login {{ user: {:?}, .. }}", self.user)
    }
}

/// What a link needs.
#[derive(Clone, Debug)]
pub struct LinkSettings {
    /// Where the broker is.
    pub address: Address,
    /// Name of this client at the broker: another one of the same name is put out by it.
    pub client: String,
    /// User and password.
    pub login: Option<Login>,
    /// Most messages that wait.
    pub queue: usize,
}

/// A message to be told, or one that came in.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Message {
    /// Topic at the broker, as it stands in the packet.
    pub topic: Vec<u8>,
    /// Payload.
    pub payload: Vec<u8>,
    /// Its media type.
    pub content_type: Option<String>,
    /// Names and values beside it.
    pub properties: Vec<(String, String)>,
    /// Whether the broker keeps it for those who come later; of one that came in, whether it was kept.
    pub retained: bool,
}

/// What became of all that was to be told.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Counts {
    /// Told: the broker has acknowledged it.
    pub told: u64,
    /// Not told: the queue was full.
    pub queue_full: u64,
    /// Not told: the broker refused it.
    pub not_allowed: u64,
    /// Not told: not acknowledged when the link was closed.
    pub left: u64,
    /// Sent once more, after a connection had broken before it was acknowledged.
    pub again: u64,
    /// How often a connection broke.
    pub breaks: u64,
    /// Attempts to connect that failed.
    pub failed: u64,
}

impl Counts {
    /// All that was not told.
    #[must_use]
    pub fn not_told(&self) -> u64 {
        self.queue_full + self.not_allowed + self.left
    }
}

/// Why there is no link.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum LinkError {
    /// The broker does not answer, or refuses.
    #[error("no MQTT 5 broker at {address}: {why}")]
    Connect {
        /// Where.
        address: Address,
        /// Why.
        why: String,
    },
    /// The broker does not let it hear what comes in.
    #[error("the broker at {address} refuses the subscription to {filter}: {why}")]
    Subscribe {
        /// Where.
        address: Address,
        /// To what.
        filter: String,
        /// Why.
        why: String,
    },
    /// The client of the connection has stopped by itself.
    #[error("the connection to {address} has ended for good: {why}")]
    Gone {
        /// Where.
        address: Address,
        /// Why.
        why: String,
    },
}

enum Happened {
    Event(Box<Event>),
    /// The connection broke, or could not be made.
    Broken(String),
}

/// A link to a broker.
pub struct Link {
    address: Address,
    filter: String,
    client: Client,
    events: Receiver<Happened>,
    go_on: Sender<Duration>,
    connected: bool,
    ever: bool,
    back_off: Duration,
    queue: VecDeque<Message>,
    most: usize,
    /// Given to the client, each with its packet id once it has one.
    outstanding: VecDeque<(Option<u16>, Message)>,
    counts: Counts,
    why: String,
    closing: bool,
}

impl Link {
    /// Connects, and hears what comes in below the names' `in`.
    ///
    /// # Errors
    /// [`LinkError`] when there is no connection within `within`.
    pub fn connect(
        settings: &LinkSettings,
        names: &Names,
        within: Duration,
    ) -> Result<Link, LinkError> {
        let Address { host, port } = &settings.address;
        let mut options = MqttOptions::new(&settings.client, host, *port);
        options
            .set_keep_alive(KEEP_ALIVE)
            .set_clean_start(true)
            .set_connection_timeout(CONNECT_WITHIN_S)
            .set_outgoing_inflight_upper_limit(WINDOW as u16);
        let properties = ConnectProperties {
            max_packet_size: Some(LARGEST_PACKET_BYTES),
            ..ConnectProperties::new()
        };
        options.set_connect_properties(properties);
        let will = LastWillProperties {
            content_type: Some("application/json".to_owned()),
            delay_interval: None,
            payload_format_indicator: None,
            message_expiry_interval: None,
            response_topic: None,
            correlation_data: None,
            user_properties: Vec::new(),
        };
        options.set_last_will(LastWill::new(
            names.status(),
            LOST,
            QoS::AtLeastOnce,
            true,
            Some(will),
        ));
        if let Some(login) = &settings.login {
            options.set_credentials(&login.user, &login.password);
        }
        let (client, connection) = Client::new(options, 2 * WINDOW);
        let (happened, events) = sync_channel(WAITING);
        let (go_on, gone_on) = channel();
        std::thread::spawn(move || keep(connection, &happened, &gone_on));
        let mut link = Link {
            address: settings.address.clone(),
            filter: names.all_in(),
            client,
            events,
            go_on,
            connected: false,
            ever: false,
            back_off: FIRST_BACK_OFF,
            queue: VecDeque::new(),
            most: settings.queue,
            outstanding: VecDeque::new(),
            counts: Counts::default(),
            why: "it does not answer".to_owned(),
            closing: false,
        };
        let begun = Instant::now();
        let mut came_in = Vec::new();
        while !link.ever {
            let left = within.saturating_sub(begun.elapsed());
            if left.is_zero() {
                let (address, why) = (link.address, link.why);
                return Err(LinkError::Connect { address, why });
            }
            link.attend(left, &mut came_in)?;
        }
        Ok(link)
    }

    /// Whether there is a connection now.
    #[must_use]
    pub fn is_connected(&self) -> bool {
        self.connected
    }

    /// Why the last connection broke.
    #[must_use]
    pub fn why(&self) -> &str {
        &self.why
    }

    /// How many messages wait, of how many that may.
    #[must_use]
    pub fn waiting(&self) -> (usize, usize) {
        (self.queue.len(), self.most)
    }

    /// What became of all so far; what still waits is in none of the counts.
    #[must_use]
    pub fn counts(&self) -> &Counts {
        &self.counts
    }

    /// Puts a message into the queue; one too many is counted and not told.
    pub fn tell(&mut self, message: Message) {
        if self.queue.len() >= self.most {
            self.counts.queue_full += 1;
        } else {
            self.queue.push_back(message);
            self.hand_over();
        }
    }

    /// Attends to the connection: returns as soon as something has happened, at the latest after `longest`. What came in is appended.
    ///
    /// # Errors
    /// [`LinkError::Subscribe`], [`LinkError::Gone`].
    pub fn attend(
        &mut self,
        longest: Duration,
        came_in: &mut Vec<Message>,
    ) -> Result<(), LinkError> {
        let mut next = self.events.recv_timeout(longest);
        let mut looked = 0;
        loop {
            match next {
                Ok(happened) => self.happen(happened, came_in)?,
                Err(RecvTimeoutError::Timeout) => break,
                Err(RecvTimeoutError::Disconnected) => {
                    let (address, why) = (self.address.clone(), self.why.clone());
                    return Err(LinkError::Gone { address, why });
                }
            }
            looked += 1;
            if looked >= WAITING {
                break;
            }
            next = self.events.recv_timeout(Duration::ZERO);
        }
        self.hand_over();
        Ok(())
    }

    /// Waits until all has been told, at the latest for `longest`, and takes leave of the broker.
    pub fn close(mut self, longest: Duration) -> Counts {
        let begun = Instant::now();
        let mut came_in = Vec::new();
        while !(self.queue.is_empty() && self.outstanding.is_empty()) {
            let left = longest.saturating_sub(begun.elapsed());
            if left.is_zero() || self.attend(left, &mut came_in).is_err() {
                break;
            }
        }
        self.counts.left += (self.queue.len() + self.outstanding.len()) as u64;
        self.closing = true;
        // A full channel means that the broker takes nothing; then its last will is told.
        if self.client.try_disconnect().is_ok() {
            let until = Instant::now() + Duration::from_millis(500);
            while self.connected
                && Instant::now() < until
                && self.attend(Duration::from_millis(50), &mut came_in).is_ok()
            {}
        }
        self.counts
    }

    fn happen(&mut self, happened: Happened, came_in: &mut Vec<Message>) -> Result<(), LinkError> {
        match happened {
            Happened::Broken(why) => {
                let was_connected = std::mem::replace(&mut self.connected, false);
                if self.closing {
                    // The broker ends the connection after the leave has been taken.
                    return Ok(());
                }
                if was_connected {
                    self.counts.breaks += 1;
                    self.back_off = FIRST_BACK_OFF;
                } else {
                    self.counts.failed += 1;
                }
                self.why = why;
                // A thread that has ended has told so: its channel is closed.
                let _ended = self.go_on.send(self.back_off).is_err();
                self.back_off = (2 * self.back_off).min(LONGEST_BACK_OFF);
                Ok(())
            }
            Happened::Event(event) => match *event {
                Event::Incoming(Packet::ConnAck(_)) => {
                    self.connected = true;
                    self.back_off = FIRST_BACK_OFF;
                    self.subscribe();
                    let again = self.outstanding.drain(..);
                    let again: Vec<Message> = again.map(|(_, message)| message).collect();
                    self.counts.again += again.len() as u64;
                    for message in again.into_iter().rev() {
                        self.queue.push_front(message);
                    }
                    Ok(())
                }
                Event::Incoming(Packet::SubAck(ack)) => {
                    let refused = ack
                        .return_codes
                        .iter()
                        .find(|code| !matches!(code, SubscribeReasonCode::Success(_)));
                    self.ever = true;
                    refused.map_or(Ok(()), |code| {
                        Err(LinkError::Subscribe {
                            address: self.address.clone(),
                            filter: self.filter.clone(),
                            why: format!("{code:?}"),
                        })
                    })
                }
                Event::Outgoing(Outgoing::Publish(id)) => {
                    if let Some(next) = self.outstanding.iter_mut().find(|(id, _)| id.is_none()) {
                        next.0 = Some(id);
                    }
                    Ok(())
                }
                Event::Incoming(Packet::PubAck(ack)) => {
                    let place = self
                        .outstanding
                        .iter()
                        .position(|(id, _)| *id == Some(ack.pkid));
                    if let Some(place) = place {
                        self.outstanding.remove(place);
                        match ack.reason {
                            PubAckReason::Success | PubAckReason::NoMatchingSubscribers => {
                                self.counts.told += 1;
                            }
                            _ => self.counts.not_allowed += 1,
                        }
                    }
                    Ok(())
                }
                Event::Incoming(Packet::Publish(publish)) => {
                    came_in.push(incoming(publish));
                    Ok(())
                }
                Event::Incoming(_) | Event::Outgoing(_) => Ok(()),
            },
        }
    }

    fn subscribe(&mut self) {
        let filter = Filter {
            path: self.filter.clone(),
            qos: QoS::AtLeastOnce,
            nolocal: true,
            preserve_retain: true,
            retain_forward_rule: RetainForwardRule::Never,
        };
        let asked = self.client.try_subscribe_many([filter]);
        debug_assert!(asked.is_ok(), "the channel is empty after a connection");
    }

    fn hand_over(&mut self) {
        while self.connected && self.outstanding.len() < WINDOW {
            let Some(message) = self.queue.pop_front() else {
                return;
            };
            let properties = PublishProperties {
                content_type: message.content_type.clone(),
                user_properties: message.properties.clone(),
                ..PublishProperties::default()
            };
            let topic = String::from_utf8_lossy(&message.topic).into_owned();
            let given = self.client.try_publish_with_properties(
                topic,
                QoS::AtLeastOnce,
                message.retained,
                message.payload.clone(),
                properties,
            );
            if given.is_err() {
                self.queue.push_front(message);
                return;
            }
            self.outstanding.push_back((None, message));
        }
    }
}

fn incoming(publish: Publish) -> Message {
    let (content_type, properties) = match publish.properties {
        Some(p) => (p.content_type, p.user_properties),
        None => (None, Vec::new()),
    };
    Message {
        topic: publish.topic.to_vec(),
        payload: publish.payload.to_vec(),
        content_type,
        properties,
        retained: publish.retain,
    }
}

/// Drives the connection. After a break it waits for the master, so that what was given to the client before the master knew of it is
/// forgotten here and sent again by the master.
fn keep(mut connection: Connection, happened: &SyncSender<Happened>, go_on: &Receiver<Duration>) {
    loop {
        let broken = match connection.recv_timeout(STALLED) {
            Ok(Ok(event)) => {
                if happened.send(Happened::Event(Box::new(event))).is_err() {
                    return;
                }
                continue;
            }
            Ok(Err(error)) => error.to_string(),
            Err(rumqttc::v5::RecvTimeoutError::Timeout) => {
                format!("it has taken nothing for {} s", STALLED.as_secs())
            }
            Err(rumqttc::v5::RecvTimeoutError::Disconnected) => return,
        };
        if happened.send(Happened::Broken(broken)).is_err() {
            return;
        }
        let Ok(back_off) = go_on.recv() else { return };
        std::thread::sleep(back_off);
        connection.eventloop.clean();
    }
}
