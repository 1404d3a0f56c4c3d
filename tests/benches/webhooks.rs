//! A thousand deliveries to a slow receiver beside verdicts at a hundred a second: the time from a submission to the
//! verdict that has it, at a subscriber, with and without.
//!
//! Goal: the p99 does not move. Baseline in the same run: the same service without a webhook, in turns; the machine's
//! own noise moves a p99 more than the deliveries do, so the median of several ratios is told.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    reason = "a bench fails by panicking"
)]

use std::time::{Duration, Instant};

use serde_json::json;
use trisect_tests::service::{BAY, Served, open_job, readings, say, submit};
use trisect_wire::client::Client;
use trisect_wire::table::{InstrumentAttach, InstrumentDetach, VerdictWatch, WebhookList};
use trisect_wire::types::{
    BayName, InstrumentAttachParams, InstrumentName, NoParams, Phase, VerdictItem,
};
use wiremock::matchers::method;
use wiremock::{Mock, MockServer, ResponseTemplate};

/// Verdicts of one measurement.
const COUNT: usize = 1000;
/// Measurements with and without.
const ROUNDS: usize = 7;
/// Events posted first: each instrument that comes and goes is two.
const INSTRUMENTS: usize = 500;

async fn served(url: Option<&str>) -> Served {
    let folder = tempfile::tempdir().unwrap();
    let secret = folder.path().join("secret");
    std::fs::write(&secret, "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw").unwrap();
    let webhooks = url.map(|url| {
        let webhook = json!({"webhook": "slow", "url": url, "secret_file": secret, "allow": ["loopback"], "about": ["instrument"]});
        serde_json::from_value(webhook).unwrap()
    });
    Served::start_set(folder, |settings| {
        settings.webhooks = webhooks.into_iter().collect()
    })
    .await
}

/// Instruments that come and go, so that there is something to be told.
async fn stir(client: &Client) {
    for number in 0..INSTRUMENTS {
        let name = format!("dial-{number}");
        let settings = json!({"quantity": "pressure"});
        let attach = InstrumentAttachParams {
            bay: BAY.to_owned(),
            instrument: name.clone(),
            adapter: "manual".to_owned(),
            settings: settings.as_object().unwrap().clone(),
        };
        client.call::<InstrumentAttach>(&attach).await.unwrap();
        let detach = InstrumentName {
            bay: BAY.to_owned(),
            instrument: name,
        };
        client.call::<InstrumentDetach>(&detach).await.unwrap();
    }
}

async fn waiting(client: &Client) -> u64 {
    let all = client.call::<WebhookList>(&NoParams {}).await.unwrap();
    all.webhooks.first().map_or(0, |one| one.waiting)
}

/// Times from a submission to its verdict; and how many deliveries were on their way before and after.
async fn measure(url: Option<&str>) -> (Vec<Duration>, u64, u64) {
    let served = served(url).await;
    let client = served.client().await;
    stir(&client).await;
    open_job(&client, None).await;
    say(&client, Phase::Off).await;
    let bay = BayName {
        bay: BAY.to_owned(),
    };
    let mut watch = client.watch::<VerdictWatch>(&bay).await.unwrap();
    let before = waiting(&client).await;
    let mut times = Vec::with_capacity(COUNT);
    let mut beat = tokio::time::interval(Duration::from_millis(10));
    for number in 0..COUNT {
        beat.tick().await;
        let volts = 12.0 + number as f64 / 1000.0;
        let begun = Instant::now();
        submit(&client, readings("battery", "V", &[volts])).await;
        loop {
            let VerdictItem::Verdict(item) = watch.next().await.unwrap().unwrap() else {
                panic!("a gap");
            };
            let piece = item
                .verdict
                .evidence
                .iter()
                .find(|one| one.check == "battery-rest");
            if piece
                .and_then(|one| one.value)
                .is_some_and(|value| (value - volts).abs() < 1e-6)
            {
                break;
            }
        }
        times.push(begun.elapsed());
    }
    let after = waiting(&client).await;
    served.stop().await;
    times.sort();
    (times, before, after)
}

fn main() {
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .worker_threads(2)
        .enable_all()
        .build()
        .unwrap();
    runtime.block_on(async {
        let server = MockServer::start().await;
        let slow = ResponseTemplate::new(200).set_delay(Duration::from_millis(40));
        Mock::given(method("POST")).respond_with(slow).mount(&server).await;
        let mut ratios = Vec::new();
        for round in 0..ROUNDS {
            // By turns first and second.
            let mut turns = [None, Some(server.uri())];
            if round % 2 == 1 {
                turns.reverse();
            }
            let mut p99 = [0.0; 2];
            for url in turns {
                let (times, before, after) = measure(url.as_deref()).await;
                let quantile = |part: f64| times[((times.len() - 1) as f64 * part) as usize];
                let what = if url.is_some() { "with webhooks" } else { "without" };
                println!("{what:<14} p50 {:>8.2?}  p99 {:>8.2?}  ({before} deliveries before, {after} after)", quantile(0.5), quantile(0.99));
                p99[usize::from(url.is_some())] = quantile(0.99).as_secs_f64();
            }
            ratios.push(p99[1] / p99[0]);
            println!("ratio of p99, round {round}: {:.2}", ratios[round]);
        }
        ratios.sort_by(f64::total_cmp);
        println!("ratio of p99, median of {ROUNDS}: {:.2} ({:.2} to {:.2})", ratios[ROUNDS / 2], ratios[0], ratios[ROUNDS - 1]);
    });
}
