//! Messages of the Jupyter protocol: frames, signatures, headers.
//!
//! Source: "Messaging in Jupyter", protocol version 5.3, sections "The wire protocol" and "General
//! message format".

use hmac::{Hmac, KeyInit, Mac};
use serde_json::{Value, json};
use sha2::Sha256;
use std::time::{SystemTime, UNIX_EPOCH};
use zeromq::ZmqMessage;

/// The protocol's version that is spoken here.
pub const VERSION: &str = "5.3";
const DELIMITER: &[u8] = b"<IDS|MSG>";

/// A message with its envelope.
#[derive(Clone, Debug, Default)]
pub struct Message {
    /// Frames that say which client to answer.
    pub identities: Vec<Vec<u8>>,
    /// Header.
    pub header: Value,
    /// Content.
    pub content: Value,
}

impl Message {
    /// The kind of the message.
    pub fn kind(&self) -> &str {
        self.header["msg_type"].as_str().unwrap_or_default()
    }
}

/// Signs and checks with the key of the connection file; makes headers.
#[derive(Clone, Debug)]
pub struct Signer {
    key: Vec<u8>,
    session: String,
}

impl Signer {
    /// With the key of the connection file; an empty key means that nothing is signed.
    pub fn new(key: &str) -> Signer {
        Signer { key: key.as_bytes().to_vec(), session: unique() }
    }

    fn mac(&self, frames: &[&[u8]]) -> Option<Hmac<Sha256>> {
        let mut mac = Hmac::<Sha256>::new_from_slice(&self.key).ok()?;
        frames.iter().for_each(|f| mac.update(f));
        Some(mac)
    }

    /// Reads frames.
    ///
    /// # Errors
    /// When frames are missing, the signature is wrong or a part is not JSON: the message must be dropped.
    pub fn read(&self, frames: ZmqMessage) -> Result<Message, String> {
        let frames = frames.into_vec();
        let at =
            frames.iter().position(|f| f.as_ref() == DELIMITER).ok_or("a message without its delimiter")?;
        let (identities, rest) = (&frames[..at], &frames[at + 1..]);
        let [signature, header, parent, metadata, content, ..] = rest else {
            return Err(format!("a message with {} frames where at least 5 are due", rest.len()));
        };
        if !self.key.is_empty() {
            let given = unhex(signature).ok_or("a signature that is not hexadecimal")?;
            let mac = self.mac(&[header, parent, metadata, content]).ok_or("a key that cannot sign")?;
            mac.verify_slice(&given).map_err(|_| "a message with a wrong signature")?;
        }
        let part = |name: &str, bytes: &[u8]| -> Result<Value, String> {
            serde_json::from_slice(bytes).map_err(|e| format!("a message whose {name} is not JSON: {e}"))
        };
        part("parent header", parent)?;
        part("metadata", metadata)?;
        let message = Message {
            identities: identities.iter().map(|f| f.to_vec()).collect(),
            header: part("header", header)?,
            content: part("content", content)?,
        };
        if message.kind().is_empty() {
            return Err("a message without a type".to_owned());
        }
        Ok(message)
    }

    /// Frames of an answer to `parent`, addressed to its sender.
    pub fn reply(&self, parent: &Message, kind: &str, content: &Value) -> ZmqMessage {
        self.frames(parent.identities.clone(), kind, &parent.header, content, &json!({}))
    }

    /// Frames for everybody.
    pub fn publish(&self, parent: &Value, kind: &str, content: &Value) -> ZmqMessage {
        self.frames(
            vec![format!("kernel.{}.{kind}", self.session).into_bytes()],
            kind,
            parent,
            content,
            &json!({}),
        )
    }

    fn frames(
        &self,
        identities: Vec<Vec<u8>>,
        kind: &str,
        parent: &Value,
        content: &Value,
        metadata: &Value,
    ) -> ZmqMessage {
        let header = json!({
            "msg_id": unique(), "session": self.session, "username": "kernel", "date": now(),
            "msg_type": kind, "version": VERSION,
        });
        let parent = if parent.is_null() { &json!({}) } else { parent };
        let parts = [&header, parent, metadata, content].map(|v| v.to_string().into_bytes());
        let signature = match self.mac(&[&parts[0], &parts[1], &parts[2], &parts[3]]) {
            Some(mac) if !self.key.is_empty() => hex(&mac.finalize().into_bytes()),
            _ => String::new(),
        };
        let mut all = identities.into_iter().chain([DELIMITER.to_vec(), signature.into_bytes()]).chain(parts);
        let mut message = ZmqMessage::from(all.next().unwrap_or_default());
        all.for_each(|f| message.push_back(f.into()));
        message
    }
}

fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|b| format!("{b:02x}")).collect()
}

fn unhex(text: &[u8]) -> Option<Vec<u8>> {
    let text = std::str::from_utf8(text).ok().filter(|t| t.len().is_multiple_of(2) && t.is_ascii())?;
    (0..text.len()).step_by(2).map(|n| u8::from_str_radix(&text[n..n + 2], 16).ok()).collect()
}

/// An identifier that no other message has.
pub fn unique() -> String {
    format!("{:032x}", rand::random::<u128>())
}

/// The time as ISO 8601 in UTC.
fn now() -> String {
    let since = SystemTime::now().duration_since(UNIX_EPOCH).unwrap_or_default();
    iso8601(since.as_secs(), since.subsec_micros())
}

/// Civil date from days, as by H. Hinnant, "chrono-compatible low-level date algorithms".
fn iso8601(seconds: u64, micros: u32) -> String {
    let (days, rest) = (seconds / 86_400, seconds % 86_400);
    let z = days + 719_468;
    let (era, doe) = (z / 146_097, z % 146_097);
    let yoe = (doe - doe / 1460 + doe / 36_524 - doe / 146_096) / 365;
    let doy = doe - (365 * yoe + yoe / 4 - yoe / 100);
    let mp = (5 * doy + 2) / 153;
    let (day, month) = (doy - (153 * mp + 2) / 5 + 1, if mp < 10 { mp + 3 } else { mp - 9 });
    let year = yoe + era * 400 + u64::from(month <= 2);
    format!(
        "{year:04}-{month:02}-{day:02}T{:02}:{:02}:{:02}.{micros:06}Z",
        rest / 3600,
        rest / 60 % 60,
        rest % 60
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn times_against_known_ones() {
        // The Unix epoch, the billionth second (common knowledge) and a leap day.
        assert_eq!(iso8601(0, 0), "1970-01-01T00:00:00.000000Z");
        assert_eq!(iso8601(1_000_000_000, 5), "2001-09-09T01:46:40.000005Z");
        assert_eq!(iso8601(1_709_164_800, 0), "2024-02-29T00:00:00.000000Z");
    }

    #[test]
    fn signature_of_a_published_vector() {
        // RFC 4231, test case 2.
        let signer = Signer { key: b"Jefe".to_vec(), session: String::new() };
        let mac = signer.mac(&[b"what do ya want ", b"for nothing?"]).expect("a key");
        assert_eq!(
            hex(&mac.finalize().into_bytes()),
            "5bdcc146bf60754e6a042426089575c75a003f089d2739839dec58b964ec3843"
        );
    }

    #[test]
    fn a_message_survives_and_a_forged_one_does_not() {
        let signer = Signer::new("key");
        let parent = Message { identities: vec![b"client".to_vec()], ..Message::default() };
        let frames = signer.reply(&parent, "kernel_info_reply", &json!({"status": "ok"}));
        let read = signer.read(frames.clone()).expect("our own message");
        assert_eq!((read.kind(), &read.content["status"]), ("kernel_info_reply", &json!("ok")));
        assert!(Signer::new("other").read(frames.clone()).expect_err("forged").contains("signature"));
        let mut cut = frames.into_vec();
        cut.truncate(4);
        assert!(signer.read(ZmqMessage::try_from(cut).expect("frames")).is_err());
        assert!(signer.read(ZmqMessage::from("noise")).is_err());
    }
}
