//! The socket: an MQTT 5 client that connects again by itself, with a bounded queue of what is to be told.
//!
//! What is told goes with quality of service 1, so that it is known what the broker has. Each connection is a clean start; what was
//! not acknowledged when one broke is sent again on the next, so that a subscriber may see a message twice (its user property `message`
//! tells them apart). Between two attempts to connect lie 0.25 s, doubled each time up to 8 s. A broker that takes nothing for
//! [`STALLED`] is held to be gone. The last state is told behind all else; where the broker does not have it at the end no leave is taken, so
//! that it tells the last will.

mod broken;
mod error;
#[cfg(test)]
mod tests;

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
use crate::refused::MOST_BYTES;
use crate::waiting::{Counts, Kind, Message, Waiting};

use broken::{Broken, Refusal};

pub use error::LinkError;

/// Longest without any sign of a broker that should answer a ping each 5 s.
const STALLED: Duration = Duration::from_secs(15);
const KEEP_ALIVE: Duration = Duration::from_secs(5);
const CONNECT_WITHIN_S: u64 = 5;
const FIRST_BACK_OFF: Duration = Duration::from_millis(250);
const LONGEST_BACK_OFF: Duration = Duration::from_secs(8);
/// Messages given to the client and not acknowledged.
const WINDOW: usize = 64;
/// Events of the connection that wait for the master: at most 33 MiB with the largest packets.
const WAITING: usize = 256;
/// Largest packet that the broker may send: the largest payload that is looked at, a topic as long as one may be, and what stands beside them.
const LARGEST_PACKET_BYTES: u32 = 2 * MOST_BYTES as u32 + 4096;
/// Longest wait for one event while the link is closed.
const ATTEND: Duration = Duration::from_millis(50);
/// How long the last state may take at least.
const LAST_STATE: Duration = Duration::from_secs(1);

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

enum Happened {
    Event(Box<Event>),
    /// The connection broke, or could not be made.
    Broken(Broken),
}

/// A link to a broker.
pub struct Link {
    address: Address,
    /// As whom it connects, if a user was named.
    user: Option<String>,
    filters: [String; 2],
    client: Client,
    events: Receiver<Happened>,
    go_on: Sender<Duration>,
    connected: bool,
    /// Whether the client was given the subscription of this connection.
    subscribed: bool,
    ever: bool,
    back_off: Duration,
    waiting: Waiting,
    /// Given to the client, each with its packet id once it has one.
    outstanding: VecDeque<(Option<u16>, Kind, Message)>,
    /// What came in before anybody attended.
    early: Vec<Message>,
    counts: Counts,
    why: String,
    closing: bool,
}

impl Link {
    /// Connects, and hears what comes in below the names' `in`.
    ///
    /// # Errors
    /// [`LinkError`] when there is no connection within `within`, and at once when the broker refuses it for good.
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
        let mut link = Link::over(client, events, go_on, settings, names);
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
        link.early = came_in;
        Ok(link)
    }

    fn over(
        client: Client,
        events: Receiver<Happened>,
        go_on: Sender<Duration>,
        settings: &LinkSettings,
        names: &Names,
    ) -> Link {
        Link {
            address: settings.address.clone(),
            user: settings.login.as_ref().map(|login| login.user.clone()),
            filters: [names.all_in(), names.all_answers()],
            client,
            events,
            go_on,
            connected: false,
            subscribed: false,
            ever: false,
            back_off: FIRST_BACK_OFF,
            waiting: Waiting::new(settings.queue),
            outstanding: VecDeque::new(),
            early: Vec::new(),
            counts: Counts::default(),
            why: "it does not answer".to_owned(),
            closing: false,
        }
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

    /// How many of the rehearsal's messages wait, of how many that may.
    #[must_use]
    pub fn waiting(&self) -> (usize, usize) {
        self.waiting.of_most()
    }

    /// What became of all so far; what still waits is in none of the counts.
    #[must_use]
    pub fn counts(&self) -> &Counts {
        &self.counts
    }

    /// Puts a message into the queue; one too many is counted and not told.
    pub fn tell(&mut self, message: Message) {
        self.put(Kind::Mirror, message);
    }

    /// Tells the state next, instead of one that still waits; it always has room.
    pub fn tell_state(&mut self, message: Message) {
        self.put(Kind::State, message);
    }

    /// Tells when nothing else waits; one of too many is counted and not told.
    pub fn tell_aside(&mut self, message: Message) {
        self.put(Kind::Aside, message);
    }

    fn put(&mut self, kind: Kind, message: Message) {
        self.waiting.put(kind, message, &mut self.counts);
        self.hand_over();
    }

    /// Attends to the connection: returns as soon as something has happened, at the latest after `longest`. What came in is appended.
    ///
    /// # Errors
    /// [`LinkError::Subscribe`], [`LinkError::Gone`]; before the first connection [`LinkError::Login`], [`LinkError::Refused`].
    pub fn attend(
        &mut self,
        longest: Duration,
        came_in: &mut Vec<Message>,
    ) -> Result<(), LinkError> {
        came_in.append(&mut self.early);
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

    /// Waits until all has been told, at the latest for `longest`, tells the last state and takes leave of the broker. What still
    /// comes in is given to `over`.
    pub fn close(
        mut self,
        longest: Duration,
        last: Option<Message>,
        over: &mut dyn FnMut(&Message),
    ) -> Counts {
        let begun = Instant::now();
        self.attend_until(longest, over, |link| {
            link.waiting.len() + link.outstanding.len() == 0
        });
        if let Some(last) = last {
            self.tell_state(last);
            let left = longest.saturating_sub(begun.elapsed()).max(LAST_STATE);
            self.attend_until(left, over, Link::state_is_told);
        }
        self.counts.left += (self.waiting.len() + self.outstanding.len()) as u64;
        self.closing = true;
        // Without the leave the broker tells the last will; a full channel means that it takes nothing.
        if self.state_is_told() && self.client.try_disconnect().is_ok() {
            self.attend_until(Duration::from_millis(500), over, |link| !link.connected);
        }
        self.counts
    }

    fn state_is_told(&self) -> bool {
        let state = |(_, kind, _): &(_, Kind, _)| *kind == Kind::State;
        !self.waiting.has_state() && !self.outstanding.iter().any(state)
    }

    fn attend_until(
        &mut self,
        longest: Duration,
        over: &mut dyn FnMut(&Message),
        done: impl Fn(&Link) -> bool,
    ) {
        let begun = Instant::now();
        let mut came_in = std::mem::take(&mut self.early);
        loop {
            came_in.drain(..).for_each(|message| over(&message));
            let left = longest.saturating_sub(begun.elapsed());
            if done(self) || left.is_zero() {
                return;
            }
            let attended = self.attend(left.min(ATTEND), &mut came_in);
            if attended.is_err() {
                came_in.iter().for_each(&mut *over);
                return;
            }
        }
    }

    fn happen(&mut self, happened: Happened, came_in: &mut Vec<Message>) -> Result<(), LinkError> {
        match happened {
            Happened::Broken(Broken { why, refused }) => {
                let was_connected = std::mem::replace(&mut self.connected, false);
                if self.closing {
                    // The broker ends the connection after the leave has been taken.
                    return Ok(());
                }
                if let Some(refusal) = refused.filter(|_| !self.ever) {
                    let (address, user) = (self.address.clone(), self.user.clone());
                    return Err(match refusal {
                        Refusal::Login => LinkError::Login { address, user, why },
                        Refusal::Connection => LinkError::Refused { address, why },
                    });
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
                    self.subscribed = false;
                    self.back_off = FIRST_BACK_OFF;
                    self.counts.again += self.outstanding.len() as u64;
                    while let Some((_, kind, message)) = self.outstanding.pop_back() {
                        self.waiting.give_back(kind, message);
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
                            filter: self.filters.join(" and "),
                            why: format!("{code:?}"),
                        })
                    })
                }
                Event::Outgoing(Outgoing::Publish(id)) => {
                    if let Some(next) = self.outstanding.iter_mut().find(|(id, ..)| id.is_none()) {
                        next.0 = Some(id);
                    }
                    Ok(())
                }
                Event::Incoming(Packet::PubAck(ack)) => {
                    let place = self
                        .outstanding
                        .iter()
                        .position(|(id, ..)| *id == Some(ack.pkid));
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

    /// Asks for what comes in, once a connection; whether it was asked. Before that nothing is told, so that a full channel is no reason to
    /// stay deaf.
    fn subscribe(&mut self) -> bool {
        let filters = self.filters.clone().map(|path| Filter {
            path,
            qos: QoS::AtLeastOnce,
            nolocal: true,
            preserve_retain: true,
            retain_forward_rule: RetainForwardRule::Never,
        });
        self.client.try_subscribe_many(filters).is_ok()
    }

    fn hand_over(&mut self) {
        if self.connected && !self.subscribed {
            self.subscribed = self.subscribe();
        }
        while self.connected && self.subscribed && self.outstanding.len() < WINDOW {
            let Some((kind, message)) = self.waiting.take() else {
                return;
            };
            let properties = PublishProperties {
                content_type: message.content_type.clone(),
                user_properties: message.properties.clone(),
                response_topic: message.response_topic.clone(),
                correlation_data: message.correlation.clone().map(Into::into),
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
                self.waiting.give_back(kind, message);
                return;
            }
            self.outstanding.push_back((None, kind, message));
        }
    }
}

fn incoming(publish: Publish) -> Message {
    let told = publish.properties.unwrap_or_default();
    Message {
        topic: publish.topic.to_vec(),
        payload: publish.payload.to_vec(),
        content_type: told.content_type,
        properties: told.user_properties,
        response_topic: told.response_topic,
        correlation: told.correlation_data.map(|data| data.to_vec()),
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
            Ok(Err(error)) => Broken::from_error(&error),
            Err(rumqttc::v5::RecvTimeoutError::Timeout) => {
                Broken::from_silence(format!("it has taken nothing for {} s", STALLED.as_secs()))
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
