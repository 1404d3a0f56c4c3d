//! A device behind a TCP address.

use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _};
use tokio::net::{TcpListener, TcpStream};
use tokio::time::timeout;
use trisect_kit::State;

use super::{Bay, PATIENCE, quick, tcp as reply};
use crate::TransducerSettings;

async fn start(change: impl FnOnce(&mut TransducerSettings)) -> (TcpListener, Bay) {
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let mut settings = quick(TransducerSettings {
        port: None,
        address: Some(listener.local_addr().unwrap().to_string()),
        ..TransducerSettings::pressure("", 12)
    });
    change(&mut settings);
    (listener, Bay::start(&settings))
}

async fn accept(listener: &TcpListener) -> TcpStream {
    timeout(PATIENCE, listener.accept())
        .await
        .unwrap()
        .unwrap()
        .0
}

async fn request(device: &mut TcpStream) -> [u8; 12] {
    let mut request = [0; 12];
    let read = timeout(PATIENCE, device.read_exact(&mut request)).await;
    read.unwrap().unwrap();
    request
}

#[tokio::test]
async fn a_late_reply_is_thrown_away_and_the_connection_stays() {
    let (listener, mut bay) = start(|_| {}).await;
    let mut device = accept(&listener).await;
    let late = request(&mut device).await;
    let next = request(&mut device).await;
    assert_ne!(late[..2], next[..2]);
    device.write_all(&reply(&late, 1.0)).await.unwrap();
    device.write_all(&reply(&next, 2.0)).await.unwrap();
    assert_eq!(bay.psi().await, 2.0);
    let third = request(&mut device).await;
    device.write_all(&reply(&third, 3.0)).await.unwrap();
    assert_eq!(bay.psi().await, 3.0);
    let vitals = bay.health.vitals();
    assert_eq!((vitals.frames_bad, vitals.bytes_skipped), (1, 13));
    assert!(
        bay.error().contains("raise reply_timeout_ms"),
        "{}",
        bay.error()
    );
}

#[tokio::test]
async fn a_connection_out_of_step_is_made_anew() {
    let (listener, mut bay) = start(|_| {}).await;
    let mut device = accept(&listener).await;
    request(&mut device).await;
    // A raw RTU reply: whoever answers so is no Modbus TCP device.
    let rtu = [0x01, 0x04, 0x04, 0x43, 0xC9, 0xAA, 0x46, 0xC1, 0x6C];
    device.write_all(&rtu).await.unwrap();
    let mut device = accept(&listener).await;
    assert_eq!(bay.health.vitals().state, State::Silent);
    assert!(bay.error().contains("no Modbus TCP"), "{}", bay.error());
    let fresh = request(&mut device).await;
    device.write_all(&reply(&fresh, 4.0)).await.unwrap();
    assert_eq!(bay.psi().await, 4.0);
}

#[tokio::test]
async fn a_dead_connection_is_made_anew_and_a_refusing_device_keeps_its_own() {
    let (listener, bay) = start(|settings| settings.silent_after_ms = 150).await;
    let held = accept(&listener).await;
    // Nothing is answered: it connects again although nobody closed.
    let mut device = accept(&listener).await;
    assert!(bay.error().contains("connecting anew"), "{}", bay.error());
    drop(held);
    for _ in 0..60 {
        let [high, low, ..] = request(&mut device).await;
        let refusal = [high, low, 0, 0, 0, 3, 1, 0x84, 2];
        device.write_all(&refusal).await.unwrap();
    }
    let silent = |v: &trisect_kit::Vitals| v.state == State::Silent;
    bay.until("silent while refused", silent).await;
    assert!(
        bay.error().contains("illegal data address"),
        "{}",
        bay.error()
    );
}
