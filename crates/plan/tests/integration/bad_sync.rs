//! What is said of streams and clocks that cannot be.

use crate::support::bad;

const BEFORE: &str = "[traffic]\nstack";
const STORE: &str = "[storage.card]\nat = \"module.upper\"";
const AWAY: &str = "[storage.card]\nat = \"module.buoy\"";
const LOADS: &str = "loads = { listening = \"0.5 W\" }";

bad! {
    stream_to_itself: BEFORE => "[stream.sound]\nfrom = \"module.upper.sensor.ear\"\nto = \"module.upper\"\nrate = \"128 kbit/s\"\npacket = \"1000 B\"\npriority = 3\n\n[traffic]\nstack";
    stream_to_nowhere: BEFORE => "[stream.sound]\nfrom = \"module.upper\"\nto = \"module.boy\"\nrate = \"128 kbit/s\"\npacket = \"1000 B\"\npriority = 3\n\n[traffic]\nstack";
    stream_without_a_rate: BEFORE => "[stream.sound]\nfrom = \"module.upper\"\nto = \"module.buoy\"\npacket = \"1000 B\"\npriority = 3\n\n[traffic]\nstack";
    stream_of_half_a_byte: BEFORE => "[stream.sound]\nfrom = \"module.upper\"\nto = \"module.buoy\"\nrate = \"128 kbit/s\"\npacket = \"1000.5 B\"\npriority = 3\n\n[traffic]\nstack";
    stream_of_huge_packets: "stack = [\"ethernet\", \"ipv6\", \"udp\"]\npacket = \"1400 B\"" => "stack = [\"ethernet\", \"ipv6\", \"udp\"]\npacket = \"10 B\"\n\n[stream.sound]\nfrom = \"module.upper\"\nto = \"module.buoy\"\nrate = \"128 kbit/s\"\npacket = \"800 kB\"\npriority = 3";
    stream_of_a_priority_that_is_none: BEFORE => "[stream.sound]\nfrom = \"module.upper\"\nto = \"module.buoy\"\nrate = \"128 kbit/s\"\npacket = \"1000 B\"\npriority = 9\nburst = 0\n\n[traffic]\nstack";
    stream_without_links: "[traffic]\nstack = [\"ethernet\", \"ipv6\", \"udp\"]\npacket = \"1400 B\"" => "[stream.sound]\nfrom = \"module.upper\"\nto = \"module.buoy\"\nrate = \"128 kbit/s\"\npacket = \"1000 B\"\npriority = 3";
    time_of_no_master: BEFORE => "[time-sync]\nmaster = \"module.boy\"\nevery = \"30 s\"\ntimestamps = \"software\"\njitter = \"1 ms\"\nsize = \"16 B\"\npriority = 1\n\n[traffic]\nstack";
    time_stamped_nowhere: BEFORE => "[time-sync]\nmaster = \"module.buoy\"\nevery = \"30 s\"\ntimestamps = \"hardware\"\njitter = \"1 ms\"\nsize = \"16 B\"\npriority = 1\n\n[traffic]\nstack";
    time_asked_too_often: BEFORE => "[time-sync]\nmaster = \"module.buoy\"\nevery = \"1 ms\"\ntimestamps = \"wire\"\njitter = \"2 s\"\nsize = \"2000 B\"\npriority = 8\n\n[traffic]\nstack";
    time_without_what_it_needs: BEFORE => "[time-sync]\nmaster = \"module.buoy\"\n\n[traffic]\nstack";
    time_without_links: "[traffic]\nstack = [\"ethernet\", \"ipv6\", \"udp\"]\npacket = \"1400 B\"" => "[time-sync]\nmaster = \"module.buoy\"\nevery = \"30 s\"\ntimestamps = \"software\"\njitter = \"1 ms\"\nsize = \"16 B\"\npriority = 1";
    stream_in_a_state_that_nothing_enters: BEFORE => "[stream.sound]\nfrom = \"module.buoy\"\nto = \"module.upper\"\nrate = \"12 kbit/s\"\npacket = \"1000 B\"\npriority = 3\nin_state = \"sending\"\n\n[traffic]\nstack";
    clock_without_its_drift: LOADS => "loads = { listening = \"0.5 W\" }\nclock = { temperature_step = \"5 ppm\" }";
    clock_that_runs_away: LOADS => "loads = { listening = \"0.5 W\" }\nclock = { drift = \"2 %\" }";
    clock_that_drifts_in_seconds: LOADS => "loads = { listening = \"0.5 W\" }\nclock = { drift = \"2 s\" }";
    store_on_another_module_than_its_sensor: STORE => AWAY;
    store_whose_stream_names_no_sensor: STORE => "[stream.sound]\nfrom = \"module.upper\"\nto = \"module.buoy\"\nrate = \"128 kbit/s\"\npacket = \"1000 B\"\npriority = 3\n\n[storage.card]\nat = \"module.buoy\"";
    store_whose_stream_brings_too_little: STORE => "[stream.sound]\nfrom = \"module.upper.sensor.ear\"\nto = \"module.buoy\"\nrate = \"40 kbit/s\"\npacket = \"1000 B\"\npriority = 3\n\n[storage.card]\nat = \"module.buoy\"";
    store_whose_stream_has_a_mistake: STORE => "[stream.sound]\nfrom = \"module.upper.sensor.ear\"\nto = \"module.buoy\"\nrate = \"128 V\"\npacket = \"1000 B\"\npriority = 3\n\n[storage.card]\nat = \"module.buoy\"";
    store_whose_stream_brings_what_is_compressed: STORE => "[stream.sound]\nfrom = \"module.upper.sensor.ear\"\nto = \"module.buoy\"\nrate = \"86 kbit/s\"\npacket = \"1000 B\"\npriority = 3\n\n[storage.card]\nat = \"module.buoy\"";
    stream_of_a_sensor_that_carries_too_little: BEFORE => "[stream.sound]\nfrom = \"module.upper.sensor.ear\"\nto = \"module.buoy\"\nrate = \"1 kbit/s\"\npacket = \"1000 B\"\npriority = 3\n\n[traffic]\nstack";
    clock_with_a_misspelt_key: LOADS => "loads = { listening = \"0.5 W\" }\nclock = { drift = \"2 ppm\", temperature_steps = \"1 ppm\" }";
}
