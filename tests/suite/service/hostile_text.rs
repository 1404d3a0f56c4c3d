//! Names and notes that would steer a terminal, or look like a line of ours: shown escaped by every command.

use std::collections::BTreeSet;

use serde_json::{Value, json};
use trisect_tests::programs::{Ended, trisect};
use trisect_tests::raw::post;
use trisect_tests::service::{Served, readings, submit};

use super::command::run;

/// A line end, a clearing of the screen, an override of the direction of writing, a C1 control, a line separator.
const HOSTILE: &str = "Unit 14\nall is well\r\u{1b}[2J\u{202e}\u{9b}31m\u{2028}x";
const ESCAPED: &str = r"Unit 14\nall is well\r\u{1b}[2J\u{202e}\u{9b}31m\u{2028}x";

fn hostile(text: &str) -> bool {
    let steers = |c: char| c != '\n' && (c.is_control() || ('\u{2028}'..='\u{202e}').contains(&c));
    text.contains(steers) || text.lines().any(|line| line.starts_with("all is well"))
}

/// Commands of a help text.
fn commands(arguments: &[&str]) -> Vec<String> {
    let help = trisect(&[arguments, &["--help"]].concat(), "").out;
    let list = help.split("Commands:\n").nth(1).unwrap_or_default();
    let lines = list.lines().take_while(|line| line.starts_with("  "));
    let named = lines.filter_map(|line| line.strip_prefix("  "));
    let words = named.filter(|line| !line.starts_with(' '));
    let words = words.filter_map(|line| line.split(' ').next());
    words
        .filter(|word| *word != "help")
        .map(str::to_owned)
        .collect()
}

/// What every command says about a job full of hostile texts.
struct Said {
    served: Served,
    /// The commands that were tried.
    tried: BTreeSet<String>,
}

impl Said {
    /// Runs a command; what it said, for people, with nothing hostile in it.
    async fn say(&mut self, arguments: &[&str]) -> Ended {
        let ended = run(&self.served, arguments).await;
        for text in [&ended.out, &ended.err] {
            assert!(!hostile(text), "{arguments:?}: {text:?}");
        }
        for words in 1..=arguments.len().min(2) {
            self.tried.insert(arguments[..words].join(" "));
        }
        ended
    }

    /// The same for a command that shows the hostile text.
    async fn show(&mut self, arguments: &[&str]) {
        let ended = self.say(arguments).await;
        let said = ended.out.clone() + &ended.err;
        assert!(said.contains(ESCAPED), "{arguments:?}: {ended:?}");
    }
}

async fn call(served: &Served, method: &str, params: &Value) -> Value {
    let request = json!({"jsonrpc": "2.0", "id": 1, "method": method, "params": params});
    post(served.address, &request.to_string()).await.json()
}

#[tokio::test(flavor = "multi_thread")]
async fn every_command_shows_hostile_texts_escaped() {
    let served = Served::start().await;
    let folder = tempfile::tempdir().unwrap();
    let directory = folder.path().to_str().unwrap();
    let file = folder.path().join("rules.toml");
    let file = file.to_str().unwrap();
    let quoted = serde_json::to_string(HOSTILE).unwrap();
    std::fs::write(file, format!("format = 1\n{quoted} = 1\nid = {quoted}\n")).unwrap();
    let case = folder.path().join("case.toml");
    let case = case.to_str().unwrap();
    std::fs::write(
        case,
        format!("format = 1\ntitle = {quoted}\n{quoted} = 1\n"),
    )
    .unwrap();
    let mut said = Said {
        served,
        tried: BTreeSet::new(),
    };

    said.show(&["job", "open", "bay-1", HOSTILE, "--by", HOSTILE])
        .await;
    let listed = call(&said.served, "job.list", &json!({})).await;
    let job = listed["result"]["jobs"][0]["job"]
        .as_str()
        .unwrap()
        .to_owned();
    said.show(&["job", "list"]).await;
    said.say(&["job", "answer", &job, "fuel-seen", "seen", "--by", HOSTILE])
        .await;
    said.show(&["job", "answer", &job, HOSTILE, "seen"]).await;
    said.show(&["job", "show", &job]).await;
    said.show(&["enter", "bay-1", "battery", "12.5 V", "--by", HOSTILE])
        .await;
    said.show(&["enter", "bay-1", HOSTILE, "12.5 V", "--by", "R."])
        .await;
    said.show(&["phase", HOSTILE, "cranking"]).await;
    said.say(&["phase", "bay-1", "cranking"]).await;
    let attach = ["instrument", "attach", "bay-1", HOSTILE, "manual"];
    said.say(&attach).await;
    said.show(&["instrument", "attach", "bay-1", "m", HOSTILE])
        .await;
    said.say(&["instrument", "list"]).await;
    said.say(&["probe", "place", "bay-1", HOSTILE, "0", "battery"])
        .await;
    said.show(&["probe", "place", "bay-1", "none", HOSTILE, HOSTILE])
        .await;
    said.say(&["probe", "lift", "bay-1", HOSTILE, "0"]).await;
    said.say(&["instrument", "detach", "bay-1", HOSTILE]).await;
    let client = said.served.client().await;
    submit(&client, readings("battery", "V", &[12.5])).await;
    let close = ["job", "close", &job, "--note", HOSTILE];
    said.show(&close).await;
    said.show(&["job", "show", &job]).await;
    said.say(&["job", "verify", &job]).await;
    said.say(&["job", "replay", &job]).await;
    said.show(&["job", "replay", &job, "--ruleset", HOSTILE])
        .await;
    said.say(&["job", "export", &job, "--output", directory])
        .await;
    said.show(&["job", "show", HOSTILE]).await;
    said.say(&["audit", "--limit", "1000"]).await;

    said.say(&["ruleset", "list"]).await;
    said.show(&["ruleset", "install", file]).await;
    said.show(&["ruleset", "examine", file]).await;
    said.show(&["ruleset", "trial", "distributor-pump-12v", case])
        .await;
    said.say(&["ruleset", "survey", file]).await;
    said.say(&["decode", "fs9922", case]).await;
    said.show(&["watch", "--bay", HOSTILE]).await;
    said.say(&["adapter", "check", "--", "false", HOSTILE])
        .await;
    said.say(&["man", directory]).await;

    let report = call(&said.served, "job.report", &json!({"job": job})).await;
    let report = report["result"]["text"].as_str().unwrap();
    assert!(report.contains(ESCAPED) && !hostile(report), "{report}");

    for command in commands(&[]) {
        // What a shell is to read has no field from outside.
        if command == "completions" {
            continue;
        }
        assert!(said.tried.contains(&command), "{command} was not tried");
        for inner in commands(&[&command]) {
            let both = format!("{command} {inner}");
            assert!(said.tried.contains(&both), "{both} was not tried");
        }
    }
}
