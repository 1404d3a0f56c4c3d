#![allow(clippy::unwrap_used, clippy::expect_used)]
use std::fs::{File, OpenOptions};
use std::io::Write;
use std::os::unix::fs::OpenOptionsExt;
use std::time::Duration;

use rustix::fs::OFlags;
use tokio::time::{sleep, timeout};

use super::*;
use crate::instruments::{Available, Corruption, read_available};
use trisect_machine::{Drive, Key};

const LONG: Duration = Duration::from_secs(20);

/// A directory that is removed at the end.
struct Place(PathBuf);

impl Place {
    fn new(name: &str) -> Self {
        let path =
            std::env::temp_dir().join(format!("trisect-simulated-{name}-{}", std::process::id()));
        std::fs::create_dir_all(&path).unwrap();
        Place(path)
    }
}

impl Drop for Place {
    fn drop(&mut self) {
        let _ = std::fs::remove_dir_all(&self.0);
    }
}

async fn bay(place: &Place, faults: &str, speed: f64) -> SimulatedBay {
    let options = Options {
        perfect: true,
        ..Options::default()
    };
    SimulatedBay::start(
        &place.0,
        3,
        &Fault::parse_list(faults).unwrap(),
        speed,
        options,
    )
    .await
    .unwrap()
}

/// The listener's end of a line.
struct Listener(File);

impl Listener {
    fn open(path: &Path) -> std::io::Result<Self> {
        let flags = (OFlags::NOCTTY | OFlags::NONBLOCK).bits() as i32;
        OpenOptions::new()
            .read(true)
            .write(true)
            .custom_flags(flags)
            .open(path)
            .map(Listener)
    }

    fn say(&self, bytes: &[u8]) {
        (&self.0).write_all(bytes).unwrap();
    }

    /// Some bytes, or nothing once the line has ended.
    async fn some(&self) -> Vec<u8> {
        let mut chunk = [0; 512];
        let arrival = async {
            loop {
                match read_available(&self.0, &mut chunk) {
                    Available::Bytes(count) => return count,
                    Available::Nobody => return 0,
                    Available::Nothing => sleep(Duration::from_millis(1)).await,
                }
            }
        };
        let count = timeout(LONG, arrival).await.expect("nothing came");
        chunk[..count].to_vec()
    }

    async fn exactly(&self, count: usize) -> Vec<u8> {
        let mut bytes = Vec::new();
        while bytes.len() < count {
            let more = self.some().await;
            assert!(!more.is_empty(), "the line ended after {bytes:?}");
            bytes.extend(more);
        }
        bytes
    }
}

#[tokio::test]
async fn a_multimeter_talks_to_whoever_listens() {
    let place = Place::new("meter");
    let bay = bay(&place, "", 20.0).await;
    bay.place("meter-1", 0, "battery").unwrap();
    bay.wait(2.0).await;
    let listener = Listener::open(&place.0.join("meter-1")).unwrap();
    let bytes = listener.exactly(28).await;
    // 12.58 V DC: nothing from before the line was opened has been kept.
    assert_eq!(bytes[..6], *b"+1258 ", "{bytes:?}");
    assert_eq!(bytes[14..20], *b"+1258 ", "{bytes:?}");
}

#[tokio::test]
async fn a_transducer_answers_within_the_time_of_a_poll() {
    let place = Place::new("modbus");
    let bay = bay(&place, "", 10.0).await;
    bay.place("gauge-1", 0, "pump-inlet-pressure").unwrap();
    bay.control(|c| c.key = Key::On);
    bay.wait(4.0).await;
    let listener = Listener::open(&place.0.join("gauge-1")).unwrap();
    listener.say(&[1, 4, 0, 0, 0, 2, 0x71, 0xCB]);
    let reply = listener.exactly(9).await;
    let psi = f32::from_be_bytes(reply[3..7].try_into().unwrap());
    assert!((10.0..18.0).contains(&psi), "{psi} psi");
    // Closed and opened again, a few times.
    drop(listener);
    for _ in 0..3 {
        let again = Listener::open(&place.0.join("gauge-1")).unwrap();
        again.say(&[1, 3, 0, 0, 0, 2, 0xC4, 0x0B]);
        assert_eq!(again.exactly(9).await[..3], [1, 3, 4]);
    }
}

#[tokio::test]
async fn an_unplugged_instrument_ends_its_line_and_comes_back_behind_the_same_path() {
    let place = Place::new("unplug");
    let bay = bay(&place, "", 20.0).await;
    for id in ["meter-2", "gauge-2"] {
        let path = place.0.join(id);
        let listener = Listener::open(&path).unwrap();
        bay.unplug(id).unwrap();
        while !listener.some().await.is_empty() {}
        assert!(!path.exists() && Listener::open(&path).is_err());
        bay.replug(id).unwrap();
        let again = Listener::open(&path).unwrap();
        again.say(&[1, 4, 0, 0, 0, 2, 0x71, 0xCB]);
        assert!(!again.exactly(9).await.is_empty(), "{id}");
    }
}

#[tokio::test]
async fn a_bad_line_cuts_doubles_and_silences() {
    let place = Place::new("trouble");
    let bay = bay(&place, "", 20.0).await;
    let listener = Listener::open(&place.0.join("meter-2")).unwrap();
    bay.corrupt("meter-2", Corruption::Doubled, 1).unwrap();
    let bytes = listener.exactly(42).await;
    assert!(
        bytes.chunks(14).all(|frame| frame.ends_with(b"\r\n")),
        "{bytes:?}"
    );
    bay.silence("meter-2", true).unwrap();
    bay.wait(0.5).await;
    let _ = timeout(Duration::from_millis(50), listener.some()).await;
    assert!(
        timeout(Duration::from_millis(150), listener.some())
            .await
            .is_err()
    );
    bay.silence("meter-2", false).unwrap();
    assert!(!listener.some().await.is_empty());
}

#[tokio::test]
async fn a_machine_is_started_and_stopped_by_its_controls() {
    let place = Place::new("controls");
    let bay = bay(&place, "", 20.0).await;
    bay.control(|c| c.key = Key::On);
    bay.wait(2.0).await;
    bay.control(|c| c.key = Key::Crank);
    assert!(bay.wait_until(5.0, |m| m.rpm() > 500.0).await);
    bay.control(|c| c.key = Key::On);
    bay.wait(3.0).await;
    assert!((700.0..900.0).contains(&bay.machine().rpm()));
    assert_eq!(bay.observe("bypass-start").await, Ok("starts"));
    assert!(bay.observe("tea-break").await.is_err());
    bay.control(|c| c.key = Key::Off);
    assert!(bay.wait_until(5.0, |m| m.rpm() < 1.0).await);
}

#[tokio::test]
async fn a_racing_machine_is_stopped_by_its_air() {
    let place = Place::new("racing");
    let bay = bay(&place, "metering-stuck-open", 40.0).await;
    bay.control(|c| (c.drive, c.key) = (Drive::Bypass, Key::Crank));
    assert!(bay.wait_until(10.0, |m| m.rpm() > 2500.0).await);
    bay.control(|c| (c.key, c.air_open) = (Key::Off, false));
    assert!(bay.wait_until(30.0, |m| m.rpm() < 1.0).await);
}

#[tokio::test]
async fn what_cannot_be_placed_is_refused_with_a_reason() {
    let place = Place::new("place");
    let bay = bay(&place, "", 1.0).await;
    let why =
        |instrument, input, point| bay.place(instrument, input, point).unwrap_err().to_string();
    assert!(why("meter-9", 0, "battery").contains("meter-1"));
    assert!(why("meter-1", 1, "battery").contains("input 1"));
    assert!(why("gauge-1", 0, "battery").contains("voltage"));
    assert!(why("gauge-1", 0, "kettle").contains("kettle"));
    assert!(bay.take_off("gauge-1", 0).is_ok());
}

#[tokio::test]
async fn a_stopped_bay_leaves_nothing_behind() {
    let place = Place::new("stop");
    bay(&place, "", 1.0).await.stop().await;
    assert_eq!(std::fs::read_dir(&place.0).unwrap().count(), 0);
    drop(bay(&place, "", 1.0).await);
    assert_eq!(std::fs::read_dir(&place.0).unwrap().count(), 0);
    let nowhere = place.0.join("none");
    let refused = SimulatedBay::start(&nowhere, 1, &[], 1.0, Options::default()).await;
    assert!(matches!(refused, Err(BayError::Line { .. })));
    let still = SimulatedBay::start(&place.0, 1, &[], 0.0, Options::default()).await;
    assert!(matches!(still, Err(BayError::Speed { .. })));
}

#[tokio::test]
async fn a_meter_speaks_however_slowly_time_passes() {
    for speed in [0.5, 1.0, 3.0] {
        let place = Place::new(&format!("slow-{speed}"));
        let bay = bay(&place, "", speed).await;
        bay.place("meter-1", 0, "battery").unwrap();
        let listener = Listener::open(&bay.instruments()[0].path).unwrap();
        let mut heard = 0;
        // A frame of its chip has 14 bytes; two of them.
        while heard < 28 {
            let some = timeout(LONG, listener.some()).await.unwrap();
            heard += some.len();
        }
        bay.stop().await;
    }
}

#[test]
fn only_a_lossy_bay_loses_frames_and_every_real_line_is_late() {
    let place = Place::new("lossy");
    let options = |lossy, perfect| Options {
        lossy,
        perfect,
        ..Options::default()
    };
    let all = |options: Options| -> Vec<Device> {
        describe(&place.0, &options)
            .iter()
            .map(|instrument| open(instrument, 1, &options).unwrap())
            .collect()
    };
    let lost = |device: &mut Device| {
        let frames = 0..20_000;
        frames
            .filter(|_| device.line_faults.transmitted(vec![1]).is_none())
            .count()
    };
    for device in &mut all(options(true, false)) {
        // A hundredth, or a five-hundredth, give or take four standard deviations.
        let expected = match device.kind {
            Kind::Meter(_) => 143..=257,
            Kind::Transducer(_) => 15..=65,
        };
        let lost = lost(device);
        assert!(expected.contains(&lost), "{}: {lost}", device.id);
        assert!(device.line_faults.delay > 0.0, "{}", device.id);
    }
    for device in &mut all(options(false, true)) {
        assert_eq!(
            (lost(device), device.line_faults.delay),
            (0, 0.0),
            "{}",
            device.id
        );
    }
}
