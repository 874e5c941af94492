//! Unlike metals in contact in the sea.
//!
//! Metals that touch, or are joined by a wire, in one water: the one with the lower corrosion potential is eaten for the other. Ranges of potential in flowing sea water, V against a saturated calomel
//! electrode: Australasian Corrosion Association, "Corrosion potentials in flowing seawater" (read on its page; `reference/mooring/aca-potentials.csv`). Stainless steels are taken from
//! their noblest as passive to their basest as active, since crevices and still water make them active.
//!
//! More than 0.2 V apart is unlike: common practice, the upper end of the 0.15 to 0.2 V that Pantaenius, "Galvanic corrosion" (an insurer's page, undated) allows in
//! salt air, there as differences of an anodic index and not of potentials in the sea; for the sea no source was found, so the line is unverified. How fast the baser one goes is not said: a small piece of
//! it on much of a nobler one goes fastest. Graphite counts as a metal here: carbon-fibre housings and seals are the noblest thing on a line.

/// Volts apart from which metals are unlike (common practice, unverified: see the module).
pub const UNLIKE_V: f64 = 0.2;

/// A metal, or what acts as one, in the sea.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum SeaMetal {
    /// Graphite, carbon fibre.
    Graphite,
    /// Nickel-chromium-molybdenum alloy.
    NickelChromiumMolybdenum,
    /// Titanium.
    Titanium,
    /// Stainless steel 316, passive or active.
    Stainless316,
    /// Stainless steel 304, passive or active.
    Stainless304,
    /// Nickel-copper alloy 400.
    NickelCopper,
    /// Silver.
    Silver,
    /// Nickel.
    Nickel,
    /// Nickel-aluminium bronze.
    NickelAluminiumBronze,
    /// Copper-nickel 70/30.
    CopperNickel70,
    /// Copper-nickel 90/10.
    CopperNickel90,
    /// Tin bronze.
    TinBronze,
    /// Copper.
    Copper,
    /// Tin.
    Tin,
    /// Naval, yellow and red brass.
    Brass,
    /// Low alloy steel.
    LowAlloySteel,
    /// Mild steel, cast iron, chain.
    MildSteel,
    /// Aluminium alloys.
    AluminiumAlloy,
    /// Zinc, and what is galvanised as long as the zinc is there.
    Zinc,
    /// Magnesium.
    Magnesium,
}

/// What two metals in contact do.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Couple {
    /// Volts that they are apart at least.
    pub least_v: f64,
    /// Volts that they are apart at most.
    pub most_v: f64,
    /// The one that is eaten; `None` where their ranges overlap and it may be either.
    pub eaten: Option<SeaMetal>,
    /// What that comes to.
    pub ruling: Contact,
}

/// Whether metals may touch.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Contact {
    /// Never more than [`UNLIKE_V`] apart.
    Alike,
    /// More than that at the ends of their ranges.
    MayBeUnlike,
    /// Always more than that apart.
    Unlike,
}

impl SeaMetal {
    /// All of them, the noblest first.
    pub const ALL: [SeaMetal; 20] = [
        SeaMetal::Graphite,
        SeaMetal::NickelChromiumMolybdenum,
        SeaMetal::Titanium,
        SeaMetal::Stainless316,
        SeaMetal::Stainless304,
        SeaMetal::NickelCopper,
        SeaMetal::Silver,
        SeaMetal::Nickel,
        SeaMetal::NickelAluminiumBronze,
        SeaMetal::CopperNickel70,
        SeaMetal::CopperNickel90,
        SeaMetal::TinBronze,
        SeaMetal::Copper,
        SeaMetal::Tin,
        SeaMetal::Brass,
        SeaMetal::LowAlloySteel,
        SeaMetal::MildSteel,
        SeaMetal::AluminiumAlloy,
        SeaMetal::Zinc,
        SeaMetal::Magnesium,
    ];

    /// Its potential in flowing sea water, V against a saturated calomel electrode: noblest and basest.
    #[must_use]
    pub fn potential_v(self) -> (f64, f64) {
        match self {
            SeaMetal::Graphite => (0.30, 0.20),
            SeaMetal::NickelChromiumMolybdenum => (0.09, 0.03),
            SeaMetal::Titanium => (0.06, 0.04),
            SeaMetal::Stainless316 => (0.0, -0.46),
            SeaMetal::Stainless304 => (-0.04, -0.58),
            SeaMetal::NickelCopper => (-0.03, -0.14),
            SeaMetal::Silver => (-0.10, -0.15),
            SeaMetal::Nickel => (-0.10, -0.20),
            SeaMetal::NickelAluminiumBronze => (-0.14, -0.22),
            SeaMetal::CopperNickel70 => (-0.17, -0.24),
            SeaMetal::CopperNickel90 => (-0.22, -0.28),
            SeaMetal::TinBronze => (-0.24, -0.32),
            SeaMetal::Copper => (-0.30, -0.37),
            SeaMetal::Tin => (-0.30, -0.33),
            SeaMetal::Brass => (-0.31, -0.40),
            SeaMetal::LowAlloySteel => (-0.57, -0.63),
            SeaMetal::MildSteel => (-0.60, -0.72),
            SeaMetal::AluminiumAlloy => (-0.76, -1.00),
            SeaMetal::Zinc => (-0.98, -1.03),
            SeaMetal::Magnesium => (-1.60, -1.63),
        }
    }

    /// What it and another do in contact in the sea; with itself nothing.
    #[must_use]
    pub fn with(self, other: SeaMetal) -> Couple {
        if self == other {
            return Couple {
                least_v: 0.0,
                most_v: 0.0,
                eaten: None,
                ruling: Contact::Alike,
            };
        }
        let (ours, theirs) = (self.potential_v(), other.potential_v());
        let most_v = (ours.0 - theirs.1).max(theirs.0 - ours.1);
        let (we_stand_above_v, they_do_v) = (ours.1 - theirs.0, theirs.1 - ours.0);
        let eaten = if we_stand_above_v > 0.0 {
            Some(other)
        } else if they_do_v > 0.0 {
            Some(self)
        } else {
            None
        };
        let least_v = we_stand_above_v.max(they_do_v).max(0.0);
        // Potentials have two decimals.
        let beyond = |volts: f64| volts > UNLIKE_V + 1e-9;
        Couple {
            least_v,
            most_v,
            eaten,
            ruling: if beyond(least_v) {
                Contact::Unlike
            } else if beyond(most_v) {
                Contact::MayBeUnlike
            } else {
                Contact::Alike
            },
        }
    }
}
