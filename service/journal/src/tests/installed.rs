//! Rule sets that are installed while the service runs.

use super::{Kept, rule_set};
use crate::{Installed, Journal, RuleSetText};

fn installed(digest: &str, at: &str) -> Installed {
    Installed {
        rule_set: RuleSetText {
            digest: digest.to_owned(),
            ..rule_set()
        },
        at: at.to_owned(),
        by: Some("A. Tester".to_owned()),
    }
}

async fn digests(kept: &Kept) -> Vec<String> {
    let all = kept.journal.installed_rule_sets().await.unwrap();
    all.into_iter().map(|i| i.rule_set.digest).collect()
}

#[tokio::test]
async fn what_was_installed_is_there_after_a_restart_the_newest_last() {
    let kept = Kept::new();
    // Kept with a job is not installed.
    kept.journal.put_rule_set(rule_set()).await.unwrap();
    assert_eq!(digests(&kept).await, [""; 0]);
    for (digest, at) in [("sha256:a", "1"), ("sha256:b", "2")] {
        let one = installed(digest, at);
        kept.journal.install_rule_set(one).await.unwrap();
    }
    let kept = kept.reopened();
    assert_eq!(digests(&kept).await, ["sha256:a", "sha256:b"]);
    // Once more: the newest again, and once.
    let again = installed("sha256:a", "3");
    kept.journal.install_rule_set(again.clone()).await.unwrap();
    let all = kept.journal.installed_rule_sets().await.unwrap();
    assert_eq!(all, [installed("sha256:b", "2"), again]);
    assert!(kept.journal.rule_set("sha256:a").await.unwrap().is_some());
    assert_eq!(kept.journal.integrity().await.unwrap(), [""; 0]);
}
