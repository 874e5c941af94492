use proptest::prelude::*;
use timeline::{Class, Ns, Queue};

#[test]
fn verif_classes_follow_cause_before_effect() {
    let mut queue = Queue::new();
    for class in Class::ALL.iter().rev() {
        queue.push(Ns(7), *class, 0, *class);
    }
    let taken: Vec<Class> = std::iter::from_fn(|| queue.pop())
        .map(|e| e.payload)
        .collect();
    assert_eq!(taken, Class::ALL);
    let names: Vec<String> = taken.iter().map(|c| format!("{c:?}")).collect();
    assert_eq!(
        names,
        [
            "Fault",
            "Supply",
            "Settle",
            "Arrive",
            "Notice",
            "Act",
            "Publish",
            "StartService",
            "Probe"
        ]
    );
}

#[test]
fn verif_pop_if_takes_one_instant_and_class() {
    let mut queue = Queue::new();
    queue.push(Ns(1), Class::Arrive, 4, 'a');
    queue.push(Ns(1), Class::StartService, 0, 'b');
    queue.push(Ns(2), Class::Arrive, 0, 'c');
    assert_eq!(queue.pop_if(Ns(0), Class::Arrive), None);
    assert_eq!(
        queue
            .pop_if(Ns(1), Class::Arrive)
            .map(|e| (e.place, e.payload)),
        Some((4, 'a'))
    );
    assert_eq!(queue.pop_if(Ns(1), Class::Arrive), None);
    assert_eq!(queue.peek(), Some((Ns(1), Class::StartService)));
    assert_eq!(queue.len(), 2);
}

proptest! {
    // Second route: a stable sort of the same events.
    #[test]
    fn verif_order_is_that_of_a_stable_sort(events in prop::collection::vec((0u64..6, 0usize..9, 0u32..4), 0..200), interleave in 1usize..7) {
        let mut queue = Queue::new();
        let mut waiting = Vec::new();
        for (number, (at, class, place)) in events.into_iter().enumerate() {
            let class = Class::ALL[class];
            queue.push(Ns(at), class, place, number);
            waiting.push((Ns(at), class, place, number));
            if number % interleave == 0 {
                waiting.sort();
                let first = waiting.remove(0);
                let entry = queue.pop().unwrap();
                prop_assert_eq!((entry.at, entry.class, entry.place, entry.payload), first);
            }
        }
        waiting.sort();
        prop_assert_eq!(queue.len(), waiting.len());
        for first in waiting {
            prop_assert_eq!(queue.peek(), Some((first.0, first.1)));
            let entry = queue.pop().unwrap();
            prop_assert_eq!((entry.at, entry.class, entry.place, entry.payload), first);
        }
        prop_assert!(queue.is_empty() && queue.pop().is_none());
    }
}
