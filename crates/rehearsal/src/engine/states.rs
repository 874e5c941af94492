//! The load states of modules: who wishes which, for how long, and what a module returns to.

use plan::ModuleIx;
use timeline::{Class, Ns};

use super::{Engine, Happening, place};
use crate::modules::Wish;
use crate::record::{RecordId, Root, What};

impl Engine<'_> {
    /// A behaviour or an uplink wishes a module to be in a state for a time.
    ///
    /// The rule where wishes overlap: a new wish is obeyed at once. When the wish that is obeyed ends, the module turns to
    /// the wish still in force that ends last, and of those that end together to the one made last; with none it turns to the
    /// state in which it starts. A wish that ends while another is obeyed changes nothing. A module that stops forgets its wishes.
    pub(super) fn wish(
        &mut self,
        module: ModuleIx,
        state: usize,
        time: Ns,
        parent: RecordId,
        root: Option<Root>,
    ) {
        let end = self.now.checked_add(time);
        let number = self.modules[module.0].wish(state, end.unwrap_or(Ns::MAX));
        self.enter(module, Some(state), parent, root);
        if let Some(at) = end {
            self.queue.push(
                at,
                Class::Supply,
                place(module.0),
                Happening::WishEnds {
                    module,
                    wish: number,
                    parent,
                    root,
                },
            );
        }
    }

    pub(super) fn wish_ends(
        &mut self,
        module: ModuleIx,
        wish: u32,
        parent: RecordId,
        root: Option<Root>,
    ) {
        let m = &mut self.modules[module.0];
        m.wishes.retain(|w| w.until > self.now);
        if m.obeyed != Some(wish) {
            return;
        }
        let next: Option<Wish> = m.wishes.iter().copied().max_by_key(|w| (w.until, w.number));
        m.obeyed = next.map(|w| w.number);
        let state = next
            .map(|w| w.state)
            .or(self.line.modules[module.0].starts_in);
        self.enter(module, state, parent, root);
    }

    fn enter(
        &mut self,
        module: ModuleIx,
        state: Option<usize>,
        parent: RecordId,
        root: Option<Root>,
    ) {
        let m = &mut self.modules[module.0];
        if m.state != state {
            m.state = state;
            self.dirty = true;
            self.streams.look = true;
            if let Some(state) = state {
                self.record(Some(parent), root, What::Entered { module, state });
            }
        }
    }
}
