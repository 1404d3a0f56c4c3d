//! Signatures of Standard Webhooks 1.0.0: symmetric, `v1`.

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use hmac::{Hmac, KeyInit, Mac};
use sha2::Sha256;

/// The secrets of a webhook: while one is exchanged for another, both sign.
#[derive(Clone, PartialEq)]
pub struct Secrets(Vec<Vec<u8>>);

impl Secrets {
    /// Reads secrets as `whsec_` and base64, one a line.
    ///
    /// # Errors
    /// What is wrong with them, without saying them.
    pub fn parse(text: &str) -> Result<Secrets, String> {
        let lines = text.lines().map(str::trim).filter(|line| !line.is_empty());
        let secrets: Vec<_> = lines.map(secret).collect::<Result<_, _>>()?;
        if secrets.is_empty() {
            return Err("there is no secret in it: write whsec_ and base64".to_owned());
        }
        Ok(Secrets(secrets))
    }

    /// What `webhook-signature` says of a message: the newest secret's signature first.
    pub fn sign(&self, id: &str, timestamp: i64, body: &[u8]) -> String {
        let signed = self.0.iter().filter_map(|secret| {
            // HMAC takes keys of any length.
            let mut mac = Hmac::<Sha256>::new_from_slice(secret).ok()?;
            // The id and the time are signed too, or an old message could be sent again under another.
            mac.update(format!("{id}.{timestamp}.").as_bytes());
            mac.update(body);
            Some(format!(
                "v1,{}",
                STANDARD.encode(mac.finalize().into_bytes())
            ))
        });
        signed.collect::<Vec<_>>().join(" ")
    }
}

fn secret(line: &str) -> Result<Vec<u8>, String> {
    let encoded = line
        .strip_prefix("whsec_")
        .ok_or("a secret has to begin with whsec_")?;
    let secret = STANDARD
        .decode(encoded)
        .map_err(|_| "what follows whsec_ is no base64")?;
    // "At least 24 bytes (192 bits, 512 maximum)".
    if (24..=64).contains(&secret.len()) {
        return Ok(secret);
    }
    Err(format!(
        "a secret has 24 to 64 bytes, this one has {}",
        secret.len()
    ))
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    const KEY: &str = "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw";

    /// The vector of the reference libraries (standard-webhooks/standard-webhooks, `sign function runtime`).
    #[test]
    fn the_published_vector() {
        let secrets = Secrets::parse(KEY).unwrap();
        let signature = secrets.sign(
            "msg_p5jXN8AQM9LWM0D4loKWxJek",
            1_614_265_330,
            br#"{"test": 2432232314}"#,
        );
        assert_eq!(signature, "v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE=");
    }

    #[test]
    fn while_a_secret_is_exchanged_both_sign() {
        let other = format!("whsec_{}", STANDARD.encode([7; 32]));
        let both = Secrets::parse(&format!("{other}\n{KEY}\n"))
            .unwrap()
            .sign("a", 1, b"{}");
        assert_eq!(both.split(' ').count(), 2);
        assert!(both.ends_with(&Secrets::parse(KEY).unwrap().sign("a", 1, b"{}")));
    }

    #[test]
    fn what_is_no_secret_is_refused_in_words() {
        for (text, why) in [
            ("", "no secret in it"),
            ("MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw", "begin with whsec_"),
            ("whsec_***", "no base64"),
            ("whsec_c2hvcnQ=", "24 to 64 bytes, this one has 5"),
        ] {
            let refused = Secrets::parse(text).map(|_| ()).unwrap_err();
            assert!(refused.contains(why), "{refused}");
        }
    }
}
