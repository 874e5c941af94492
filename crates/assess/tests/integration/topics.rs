//! The reader of a plan and the network agree on what a topic and a filter are, and on which filter matches which topic.

use network::{Filter, TopicName};
use plan::Code;
use proptest::prelude::*;

use crate::support::{changed, read};

/// Levels with every character that has a meaning, alone and beside others.
const LEVELS: [&str; 9] = ["a", "b", "", "+", "#", "$x", "$share", "a+", "#b"];

fn text() -> impl Strategy<Value = String> {
    proptest::collection::vec(proptest::sample::select(LEVELS.to_vec()), 1..5)
        .prop_map(|levels| levels.join("/"))
}

/// Whether the reader takes the name, whether it takes the filter, and whether it finds that the one hears the other.
fn by_the_reader(filter: &str, name: &str) -> (bool, bool, Option<bool>) {
    let both = format!(
        "[topic.\"{name}\"]\nsize = \"1 B\"\n\n[behaviour.say]\non = \"module.base\"\neach = \"1 h\"\ndo = [{{ publish = \"{name}\" }}]\n\n\
         [behaviour.hear]\non = \"module.ear\"\nwhen_told = \"{filter}\"\ndo = [{{ log = \"heard\" }}]\n\n[uplink.shore]\n"
    );
    let reading = read(&changed(&[("[uplink.shore]\n", &both)]));
    let refused = |part: &str| {
        reading
            .mistakes
            .iter()
            .any(|m| m.is_error() && m.part == part)
    };
    let topic = format!("topic.{name}");
    let unheard = |m: &plan::Mistake| m.code == Code::NobodyHears && m.part == topic;
    let heard = !reading.mistakes.iter().any(unheard);
    let hears = (!reading.has_errors()).then_some(heard);
    (!refused(&topic), !refused("behaviour.hear"), hears)
}

fn agree(filter: &str, name: &str) -> Result<Option<bool>, TestCaseError> {
    let (good_name, good_filter, hears) = by_the_reader(filter, name);
    let (as_name, as_filter) = (TopicName::parse(name), Filter::parse(filter));
    prop_assert_eq!(good_name, as_name.is_ok(), "name {:?}", name);
    prop_assert_eq!(good_filter, as_filter.is_ok(), "filter {:?}", filter);
    let expected = as_name
        .ok()
        .zip(as_filter.ok())
        .map(|(name, filter)| filter.matches(&name));
    prop_assert_eq!(hears, expected, "{:?} {:?}", filter, name);
    Ok(hears)
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 256, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn verif_the_reader_and_the_network_agree_on_topics(filter in text(), name in text()) {
        agree(&filter, &name)?;
    }
}

/// Both answers come up, so that their agreement says something; all pairs of up to two levels.
#[test]
fn verif_the_reader_and_the_network_agree_on_every_short_topic() {
    let mut texts: Vec<String> = LEVELS.iter().map(|l| (*l).to_owned()).collect();
    for first in LEVELS {
        texts.extend(LEVELS.iter().map(|l| format!("{first}/{l}")));
    }
    let mut told = [0, 0, 0];
    for filter in &texts {
        for name in &texts {
            match agree(filter, name).unwrap() {
                Some(true) => told[0] += 1,
                Some(false) => told[1] += 1,
                None => told[2] += 1,
            }
        }
    }
    assert!(told.iter().all(|n| *n > 100), "{told:?}");
}
