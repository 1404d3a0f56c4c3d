//! A disk that is really full: the kernel says ENOSPC, on a small file system of its own.
//!
//! It takes root, who may mount. Where that is not so the test says it and passes; what a full disk comes to is then
//! shown by `faults.rs` alone, by a limit on the size of files.

use std::fs::File;
use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::process::Command;

use serde_json::json;
use tempfile::TempDir;
use trisect_tests::daemon::Daemon;
use trisect_tests::service::{client, open_job, readings, submit};
use trisect_wire::ErrorKind;
use trisect_wire::table::{JobAnswer, JobReplay, JobVerify};
use trisect_wire::types::{JobAnswerParams, JobName};

use super::faults::{sound, stored, try_submit};

/// A small file system in memory, gone when dropped.
struct Disk {
    folder: TempDir,
}

impl Disk {
    /// `None` where this process may not mount.
    fn mount(megabytes: u32) -> Option<Disk> {
        let folder = tempfile::tempdir().unwrap();
        let size = format!("size={megabytes}m");
        let mounted = Command::new("mount")
            .args(["-t", "tmpfs", "-o", &size, "tmpfs"])
            .arg(folder.path())
            .output();
        match mounted {
            Ok(said) if said.status.success() => Some(Disk { folder }),
            Ok(said) => {
                let why = String::from_utf8_lossy(&said.stderr).into_owned();
                // On the machine that decides it must not be passed over in silence.
                assert!(
                    std::env::var_os("CI").is_none(),
                    "on CI the test has to be able to mount: {why}"
                );
                eprintln!("passed over: this process may not mount a file system: {why}");
                None
            }
            Err(error) => {
                eprintln!("passed over: there is no `mount`: {error}");
                None
            }
        }
    }

    fn path(&self) -> &Path {
        self.folder.path()
    }

    /// Writes until there is no room, to the last byte; the file that took it.
    fn fill(&self) -> PathBuf {
        let path = self.path().join("ballast");
        let mut ballast = File::create(&path).unwrap();
        let full = loop {
            if let Err(error) = ballast.write_all(&[0x55; 4096]) {
                break error;
            }
        };
        assert_eq!(full.kind(), std::io::ErrorKind::StorageFull, "{full}");
        path
    }
}

impl Drop for Disk {
    fn drop(&mut self) {
        // Lazily: a program that a failed test left behind may have a file open.
        let _ = Command::new("umount")
            .arg("-l")
            .arg(self.folder.path())
            .status();
    }
}

#[tokio::test]
async fn a_disk_that_is_really_full_refuses_and_goes_on_when_there_is_room() {
    let Some(disk) = Disk::mount(24) else {
        return;
    };
    let journal = disk.path().join("journal.db");
    let daemon = Daemon::start(&journal).await;
    let client = client(daemon.address).await;
    let job = open_job(&client, None).await.job;
    submit(&client, readings("battery", "V", &[12.5; 10])).await;
    let mut acknowledged = 10;
    for round in 0..3 {
        let ballast = disk.fill();
        let refused = loop {
            match try_submit(&client, 100).await {
                Ok(count) => acknowledged += count,
                Err(refused) => break refused,
            }
            assert!(acknowledged < 1_000_000, "round {round}: it was never full");
        };
        assert_eq!(refused.kind, ErrorKind::Storage, "{refused}");
        // What a person says is refused as well, and not half stored.
        let answering: JobAnswerParams =
            serde_json::from_value(json!({"job": job, "check": "fuel-seen", "answer": "seen"}))
                .unwrap();
        assert!(client.call::<JobAnswer>(&answering).await.is_err());
        // Reading goes on.
        assert_eq!(stored(&client, &job).await, acknowledged, "round {round}");
        std::fs::remove_file(ballast).unwrap();
        acknowledged += try_submit(&client, 100).await.unwrap();
        assert_eq!(stored(&client, &job).await, acknowledged, "round {round}");
    }
    let replay = serde_json::from_value(json!({"job": job})).unwrap();
    assert!(client.call::<JobReplay>(&replay).await.unwrap().same);
    let name = JobName { job: job.clone() };
    assert!(client.call::<JobVerify>(&name).await.unwrap().sound);
    // Killed with the disk full it starts again once there is room, and has lost nothing.
    let ballast = disk.fill();
    while let Ok(count) = try_submit(&client, 100).await {
        acknowledged += count;
    }
    daemon.kill().await;
    std::fs::remove_file(ballast).unwrap();
    let daemon = Daemon::start(&journal).await;
    let client = trisect_tests::service::client(daemon.address).await;
    assert_eq!(stored(&client, &job).await, acknowledged);
    drop(client);
    assert!(daemon.terminate().await.success());
    sound(&journal, &job).await;
}
