//! The line against its requirements: each discipline's input, verdicts and the evidence they rest on.
//!
//! [`check`] is a pure function of a plan that has been read and of the evidence that lies beside it. Each kind of
//! requirement is judged in one place; a verdict with a value cannot be made without its evidence.

mod allowance;
mod assumed;
mod attested_verdicts;
mod boot_verdicts;
mod cap;
mod carried;
mod cautions;
mod cell_verdicts;
mod certainty;
mod chain;
mod chain_sea;
mod chain_verdicts;
mod check;
mod combinations;
mod compare;
mod conductors;
mod corners;
mod cure;
mod dawn;
mod dawn_verdicts;
mod delay_verdicts;
mod delivery_verdicts;
pub mod dockside;
mod drawn;
mod dummy;
mod ear_geometry;
mod ear_pairs;
mod energy_year;
pub mod evidence;
mod evidence_table;
mod failure_verdicts;
mod failures;
mod fault_verdicts;
mod faults;
mod hang;
mod health;
mod highest_voltage;
mod hours;
mod hours_verdicts;
mod hung_verdicts;
pub mod input;
mod insulation;
mod judged;
mod levels;
mod leverage;
mod link_verdicts;
mod locked_out;
mod loss_verdicts;
mod measured;
mod memo;
mod metal_verdicts;
mod metals;
mod month;
mod months;
mod mooring_verdicts;
mod moorings;
mod named;
mod open;
mod other_verdicts;
mod pick_up;
mod pick_up_verdicts;
mod places;
mod power_cases;
mod power_verdicts;
mod processor_verdicts;
mod queue;
pub mod range;
mod range_verdicts;
mod reach;
mod recovery;
mod recovery_verdicts;
mod remedy;
mod reserve;
mod reserve_verdicts;
mod sentence;
mod ship;
mod slip;
mod sound_paths;
mod span_verdicts;
mod standing;
mod stands;
mod start;
mod start_ohms;
mod start_remedy;
mod start_runs;
mod start_verdicts;
mod start_words;
mod station_verdicts;
mod storage_verdicts;
mod stream_verdicts;
mod strum;
mod strum_verdicts;
mod sync_verdicts;
mod threads;
mod threshold;
mod tune_verdicts;
pub mod tuning;
mod unchecked;
mod uplink_carried;
mod uplink_delay;
mod uplink_load;
mod uplink_verdicts;
mod uplink_wait;
mod uplink_wait_verdicts;
mod verdict;
mod waking;
mod watches;
mod weight_reserve;
mod year_verdicts;
mod years;
mod years_deciding;

pub use allowance::{EventLimit, event_limits};
pub use cautions::MOORING_CAUTIONS;
pub use certainty::{
    Certain, Certainty, CertaintyAsk, CertaintyError, DRAWS, DrawnInput, DrawnRecord, DrawnShare,
    DrawsBeside, DrawsRecord, FEW_YEARS, HeldYears, InDraws, Margins, Matters, NoLine, Sureness,
    Sway, certainty,
};
pub use chain::{
    BandBudget, CLEAR_DB, CREST_DB, ChainBudget, DetectorBudget, LimitedBy, MonthBudget,
    ThresholdBudget, chain_budget,
};
pub use chain_sea::SeaBand;
pub use check::{Check, PlanText, Shelf, Status, Tier, check, check_text, check_with};
pub use compare::{
    Changed, Changes, Comparison, Moved, Moves, PlanSide, Seen, changes, compare, moves,
};
pub use drawn::{
    HopLatency, LineVoltages, ModuleVoltages, SpanOhms, TopicWay, TopicWays, line_voltages,
    span_ohms, spoilt_links, spoilt_power, topic_ways,
};
pub use dummy::{DUMMY_CLEAR_DB, DUMMY_LOST_DB, DummyBand, DummyHeard, DummyJudged, judge_dummy};
pub use ear_geometry::{
    BENDS_MOST_DEG, EarGeometry, EarGeometryError, Elevation, FORMULA_M_S, SineParts, TimeParts,
    ear_geometry,
};
pub use ear_pairs::PairTold;
pub use energy_year::{BAND_SHARES, EnergyYears, MonthRow, SecondOpinion, Sizes, energy_years};
pub use evidence_table::{EvidenceTable, Support, Supported, evidence_table};
pub use failures::{
    After, Breakage, CopyAfter, Does, Failure, Failures, FailuresError, OutputAfter, Safe, Sees,
    Whole, WoundUp, failures, wound_up,
};
pub use faults::{
    BrokenSpan, Faults, FaultsError, FuseSees, FuseWeakest, Insulation, LeakAt, LeakKnown,
    PoorContact, ShortAt, ShortKnown, WeakestShort, faults,
};
pub use hang::{DepthsTold, HungDepth, TOLD_FROM_M, depth_by, depths_told, hang, read, read_with};
pub use health::{HealthAshore, HealthField, HealthTopic, ModuleHealth, module_health};
pub use hours::{
    AtOnce, CAUSES, CLIPPED_SHARE, Cause, CauseKnown, CauseTold, EarHours, HearingShares, HoursAsk,
    HoursError, LISTENING_YEARS, ListeningHours, Tenths, Waved, listening_hours,
};
pub use insulation::{Acceptance, LegAccepted, QUAY_DEGC, READ_AFTER_S, acceptance};
pub use judged::Judged;
pub use levels::{LevelMoved, Levels};
pub use leverage::{Assumption, Came, Leverage, LeverageOf, Tried, assumed_by_leverage};
pub use link_verdicts::{LinkLoad, link_loads};
pub use memo::{Memo, Runs};
pub use metals::{AnodeGives, GroupAnodes, MetalGroup, MetalPair, anode_gives, metal_groups};
pub use mooring_verdicts::{Strength, strengths};
pub use moorings::{
    AnchorHold, BandCaution, Bared, BuoyState, CaseShape, CaseThing, Extreme, FlowNoise, HungLine,
    InWaves, LOUD_BELOW_HZ, Moorings, NoShape, OfModule, OfSection, QUIET_M_S, SizeOf, Surface,
    Widest, moorings,
};
pub use named::{NamedError, detector_and_call, hearing_sensors, sensor_named, solar_supply};
pub use pick_up::{PickUps, Picked, PickedInBand};
pub use places::{
    Along, Answer, At, Bind, ChangeError, Place, PlaceAsk, PlaceError, Places, Publishes,
    PublishesError, Site, SiteError, TALK_TABLES, Talk, Way, foreign_table, placed, places,
    places_with,
};
pub use power::year::MONTH_DAYS;
pub use recovery::{
    Adrift, Chance, Flooded, LineRecovery, ModuleChance, Parted, Recovery, Sharing, Window,
    least_lift, recovery,
};
pub use remedy::{
    Heard, HeardCounts, Mended, Remedies, Remedy, RemedyAsk, RemedyError, RemedyWatch, SharedFetch,
    Sweep, Turned, WholeMoved, remedies, remedies_as_found, remedies_with,
};
pub use reserve::{Factor, LineReserve, ModuleReserve, Room, SetFactor, line_reserve};
pub use ship::{
    Calms, MonthOfCalm, Ready, SpareRow, Spares, WeatherWaits, WorkWait, spares, weather_waits,
};
pub use slip::{MOST_SLIPS, Slip, SlipAsk, SlipCell, SlipGrid, Steps, slip};
pub use sound_paths::{
    EarPaths, PathAsk, PathError, SoundPaths, Told, sound_paths, sound_paths_with,
};
pub use standing::WATCH;
pub use start::{Start, StartError, StartEvent, StartModule, StartSupply, start};
pub use start_words::listed;
pub use strum::{Beside, RopeBeside, RopeStrums, TideFlow};
pub use sync_verdicts::clocks_when_set;
pub use threshold::{
    ASHORE_SHARE, Expected, ThresholdAsk, ThresholdMoved, ThresholdSide, UPLINK_MONTH_DAYS,
    UplinkMonthly, threshold_moved,
};
pub use uplink_wait::{
    LOOK_SHARE, UplinkAshore, UplinkMonth, UplinkWatch, uplink_ashore, uplinks_ashore,
};
pub use verdict::{Evidence, Figure, Known, Provisional, Ruling, Verdict, Word};
pub use watches::{Carried, NOISE_CLEAR_DB, carried};
pub use weight_reserve::{
    LineWeightReserve, PlaceWeightReserve, WeightReserve, line_weight_reserve,
};
pub use years::{EachYear, WEATHER_SEED, run_years};
