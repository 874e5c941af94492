//! OASIS MQTT Version 5.0 (2019) section 4.7: its examples and rules.

use network::{Filter, TopicError, TopicName};

fn matches(filter: &str, name: &str) -> bool {
    Filter::parse(filter)
        .unwrap()
        .matches(&TopicName::parse(name).unwrap())
}

#[test]
fn val_mqtt_5_section_4_7_matches() {
    for (filter, name) in [
        ("sport/tennis/player1/#", "sport/tennis/player1"),
        ("sport/tennis/player1/#", "sport/tennis/player1/ranking"),
        (
            "sport/tennis/player1/#",
            "sport/tennis/player1/score/wimbledon",
        ),
        ("sport/#", "sport"),
        ("#", "sport/tennis"),
        ("#", "/"),
        ("sport/tennis/+", "sport/tennis/player1"),
        ("sport/tennis/+", "sport/tennis/player2"),
        ("sport/+", "sport/"),
        ("+/+", "/finance"),
        ("/+", "/finance"),
        ("$SYS/#", "$SYS/"),
        ("$SYS/#", "$SYS/monitor/Clients"),
        ("$SYS/monitor/+", "$SYS/monitor/Clients"),
        ("+/tennis/#", "sport/tennis"),
        ("sport/+/player1", "sport/tennis/player1"),
        ("/", "/"),
        ("a//b", "a//b"),
        ("a/+/b", "a//b"),
        ("a/$b", "a/$b"),
        ("a/+", "a/$b"),
    ] {
        assert!(matches(filter, name), "{filter} should match {name}");
    }
}

#[test]
fn val_mqtt_5_section_4_7_mismatches() {
    for (filter, name) in [
        ("sport/tennis/+", "sport/tennis/player1/ranking"),
        ("sport/tennis/+", "sport/tennis"),
        ("sport/+", "sport"),
        ("+", "/finance"),
        ("#", "$SYS/x"),
        ("+/monitor/Clients", "$SYS/monitor/Clients"),
        ("a/b", "a/bc"),
        ("a/b", "a/b/"),
        ("a/b/", "a/b"),
        ("ACCOUNTS", "Accounts"),
        ("sport/#", "sports"),
        ("+/tennis/#", "tennis"),
    ] {
        assert!(!matches(filter, name), "{filter} should not match {name}");
    }
}

#[test]
fn val_mqtt_5_section_4_7_valid_and_invalid_filters() {
    for filter in [
        "#",
        "+",
        "+/+",
        "/+",
        "sport/#",
        "sport/+/player1",
        "+/tennis/#",
        "/",
        "$SYS/#",
    ] {
        assert_eq!(
            Filter::parse(filter).map(|f| f.as_str().to_owned()),
            Ok(filter.to_owned())
        );
    }
    for (filter, error) in [
        ("", TopicError::Empty),
        (
            "sport/tennis#",
            TopicError::WildcardNotAlone {
                wildcard: '#',
                level: 2,
            },
        ),
        (
            "sport/tennis/#/ranking",
            TopicError::HashNotLast { level: 3 },
        ),
        (
            "sport+",
            TopicError::WildcardNotAlone {
                wildcard: '+',
                level: 1,
            },
        ),
        (
            "a/#b",
            TopicError::WildcardNotAlone {
                wildcard: '#',
                level: 2,
            },
        ),
        ("#/", TopicError::HashNotLast { level: 1 }),
        ("a\0b", TopicError::Null { at_byte: 1 }),
        ("$share/group/a", TopicError::SharedSubscription),
    ] {
        assert_eq!(Filter::parse(filter), Err(error), "{filter:?}");
    }
}

#[test]
fn val_mqtt_5_section_4_7_names() {
    assert_eq!(TopicName::parse(""), Err(TopicError::Empty));
    assert_eq!(
        TopicName::parse("a/+"),
        Err(TopicError::WildcardInName {
            wildcard: '+',
            at_byte: 2
        })
    );
    assert_eq!(
        TopicName::parse("é#"),
        Err(TopicError::WildcardInName {
            wildcard: '#',
            at_byte: 2
        })
    );
    assert_eq!(TopicName::parse("\0"), Err(TopicError::Null { at_byte: 0 }));
    assert!(TopicName::parse(&"a".repeat(65_535)).is_ok());
    assert_eq!(
        TopicName::parse(&"a".repeat(65_536)),
        Err(TopicError::TooLong { bytes: 65_536 })
    );
    assert_eq!(
        Filter::parse(&"é".repeat(32_768)),
        Err(TopicError::TooLong { bytes: 65_536 })
    );
    assert!(TopicName::parse("/").is_ok());
}
