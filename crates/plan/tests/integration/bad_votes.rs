//! Bad plans: votes.

use crate::support::bad;

bad! {
    vote_of_one: "[traffic]" => "[vote.both]\non = \"module.upper\"\nof = [\"detector.call\"]\nat_least = 2\nhold_off = \"5 s\"\n[traffic]";
    vote_of_the_same: "[traffic]" => "[vote.both]\non = \"module.upper\"\nof = [\"detector.call\", \"detector.call\"]\nat_least = 2\nhold_off = \"5 s\"\n[traffic]";
    vote_of_what_is_no_detector: "[traffic]" => "[vote.both]\non = \"module.upper\"\nof = [\"detector.call\", \"module.upper.sensor.ear\"]\nat_least = 2\nhold_off = \"5 s\"\n[traffic]";
    vote_of_what_is_not_there: "[traffic]" => "[vote.both]\non = \"module.upper\"\nof = [\"detector.call\", \"detector.cell\"]\nat_least = 2\nhold_off = \"5 s\"\n[traffic]";
    vote_that_starts_nothing_elsewhere: "[traffic]" => "[vote.both]\non = \"module.buoy\"\nof = [\"detector.call\", \"detector.other\"]\nat_least = 2\nhold_off = \"5 s\"\n[detector.other]\non = \"module.upper.sensor.ear\"\nstages = [{ level = \"rms\", window = \"1 s\" }, { on_above = \"120 dB re 1 uPa\", off_below = \"118 dB re 1 uPa\", shortest = \"1 s\", hold_off = \"10 s\" }]\n[traffic]";
    vote_of_more_than_there_are: "[traffic]" => "[vote.both]\non = \"module.upper\"\nof = [\"detector.call\", \"detector.other\"]\nat_least = 3\nhold_off = \"5 s\"\n[detector.other]\non = \"module.upper.sensor.ear\"\nstages = [{ level = \"rms\", window = \"1 s\" }, { on_above = \"120 dB re 1 uPa\", off_below = \"118 dB re 1 uPa\", shortest = \"1 s\", hold_off = \"10 s\" }]\n[traffic]";
    vote_of_another_module: "[behaviour.pass-on]\non = \"module.buoy\"\nwhen_told = \"alert/#\"" => "[vote.both]\non = \"module.upper\"\nof = [\"detector.call\", \"detector.other\"]\nat_least = 2\nhold_off = \"5 s\"\n[detector.other]\non = \"module.upper.sensor.ear\"\nstages = [{ level = \"rms\", window = \"1 s\" }, { on_above = \"120 dB re 1 uPa\", off_below = \"118 dB re 1 uPa\", shortest = \"1 s\", hold_off = \"10 s\" }]\n[behaviour.pass-on]\non = \"module.buoy\"\nwhen_voted = \"vote.both\"";
}
