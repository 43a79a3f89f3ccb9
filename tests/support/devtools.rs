//! A browser that is driven by its own protocol, through a pipe.
//!
//! Comes in: commands as JSON. Goes out: their answers. Why: a page that is filled in, reloaded and printed needs
//! more than one look, and a pipe needs no port and no other program.

use std::io::{BufRead, BufReader, Write};
use std::path::Path;
use std::process::{Child, ChildStdin, Command, Stdio};
use std::sync::mpsc::{Receiver, channel};
use std::time::{Duration, Instant};

use serde_json::{Value, json};

/// No answer takes so long.
const PATIENCE: Duration = Duration::from_mins(2);

pub(crate) struct Browser {
    child: Child,
    to: ChildStdin,
    from: Receiver<Value>,
    asked: u64,
    _profile: tempfile::TempDir,
}

/// A page of a browser, with a storage of its own.
pub(crate) struct Page<'a> {
    browser: &'a mut Browser,
    session: String,
}

/// Says that something is missing, and with `CI=true` fails.
pub(crate) fn leave_out(what: &str) {
    let message = format!("LEFT OUT: {what}; tests/run installs it");
    assert_ne!(std::env::var("CI").as_deref(), Ok("true"), "{message}");
    // Not by `eprintln!`, which the test runner keeps to itself while tests pass.
    std::io::stderr().write_all(format!("{message}\n").as_bytes()).unwrap();
}

/// Whether a program starts.
pub(crate) fn starts(name: &str, argument: &str) -> bool {
    let mut command = Command::new(name);
    command.arg(argument).stdin(Stdio::null()).stdout(Stdio::null()).stderr(Stdio::null());
    command.status().is_ok_and(|status| status.success())
}

impl Browser {
    /// Starts the browser; `None` where there is none.
    pub(crate) fn start() -> Option<Self> {
        let Some(program) =
            ["chromium", "chromium-browser"].into_iter().find(|name| starts(name, "--version"))
        else {
            leave_out("job packs in a browser, because chromium is not installed");
            return None;
        };
        let profile = tempfile::tempdir().unwrap();
        // The browser reads commands from its third file and answers on its fourth.
        let script = "exec \"$0\" \"$@\" 3<&0 4>&1 0</dev/null 1>/dev/null 2>/dev/null";
        let mut child = Command::new("sh")
            .args(["-c", script, program])
            .args(["--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run"])
            .args(["--disable-background-networking", "--disable-component-update", "--disable-sync"])
            .args(["--hide-scrollbars", "--remote-debugging-pipe"])
            .arg(format!("--user-data-dir={}", profile.path().join("profile").display()))
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        let (sender, from) = channel();
        let out = BufReader::new(child.stdout.take().unwrap());
        std::thread::spawn(move || {
            for message in out.split(0) {
                let Ok(message) = message else { return };
                let Ok(value) = serde_json::from_slice(&message) else { return };
                if sender.send(value).is_err() {
                    return;
                }
            }
        });
        let to = child.stdin.take().unwrap();
        Some(Self { child, to, from, asked: 0, _profile: profile })
    }

    fn ask(&mut self, session: Option<&str>, method: &str, params: &Value) -> Value {
        self.asked += 1;
        let mut message = json!({ "id": self.asked, "method": method, "params": params });
        if let Some(session) = session {
            message["sessionId"] = json!(session);
        }
        let mut bytes = serde_json::to_vec(&message).unwrap();
        bytes.push(0);
        self.to.write_all(&bytes).unwrap();
        loop {
            let answer = self.from.recv_timeout(PATIENCE).unwrap_or_else(|e| panic!("{method}: {e}"));
            if answer["id"] == json!(self.asked) {
                assert!(answer["error"].is_null(), "{method}: {}", answer["error"]);
                return answer["result"].clone();
            }
        }
    }

    /// Opens a file in a page whose storage nothing else has written to; downloads go to the file's folder.
    pub(crate) fn open(&mut self, file: &Path) -> Page<'_> {
        let context = self.ask(None, "Target.createBrowserContext", &json!({}))["browserContextId"].clone();
        let folder = file.parent().unwrap().display().to_string();
        let allow = json!({ "behavior": "allow", "downloadPath": folder, "browserContextId": context });
        self.ask(None, "Browser.setDownloadBehavior", &allow);
        let target = json!({ "url": "about:blank", "browserContextId": context });
        let target = self.ask(None, "Target.createTarget", &target)["targetId"].clone();
        let attach = json!({ "targetId": target, "flatten": true });
        let session =
            self.ask(None, "Target.attachToTarget", &attach)["sessionId"].as_str().unwrap().to_owned();
        let mut page = Page { browser: self, session };
        page.ask("Page.enable", &json!({}));
        page.ask("Page.navigate", &json!({ "url": format!("file://{}", file.display()) }));
        page.wait_for("location.protocol === 'file:' && document.readyState === 'complete'");
        page
    }
}

impl Drop for Browser {
    fn drop(&mut self) {
        let _ = self.to.write_all(b"{\"id\":0,\"method\":\"Browser.close\"}\0");
        let until = Instant::now() + Duration::from_secs(10);
        while Instant::now() < until {
            if matches!(self.child.try_wait(), Ok(Some(_))) {
                return;
            }
            std::thread::sleep(Duration::from_millis(20));
        }
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

impl Page<'_> {
    pub(crate) fn ask(&mut self, method: &str, params: &Value) -> Value {
        self.browser.ask(Some(&self.session.clone()), method, params)
    }

    /// The value of an expression.
    pub(crate) fn value(&mut self, expression: &str) -> Value {
        let params = json!({ "expression": expression, "returnByValue": true, "awaitPromise": true });
        let answer = self.ask("Runtime.evaluate", &params);
        assert!(answer["exceptionDetails"].is_null(), "{expression}: {}", answer["exceptionDetails"]);
        answer["result"]["value"].clone()
    }

    pub(crate) fn text(&mut self, expression: &str) -> String {
        self.value(expression).as_str().unwrap_or_else(|| panic!("{expression} is no text")).to_owned()
    }

    pub(crate) fn wait_for(&mut self, expression: &str) {
        let until = Instant::now() + Duration::from_mins(1);
        while self.value(expression) != json!(true) {
            assert!(Instant::now() < until, "never came: {expression}");
            std::thread::sleep(Duration::from_millis(10));
        }
    }

    pub(crate) fn reload(&mut self) {
        self.value("window.before = true");
        self.ask("Page.reload", &json!({}));
        self.wait_for("window.before === undefined && document.readyState === 'complete'");
    }

    /// Presses a key that has a name: Tab, Enter, Space.
    pub(crate) fn press(&mut self, key: &str) {
        let (code, text) = match key {
            "Tab" => (9, ""),
            "Enter" => (13, "\r"),
            "Space" => (32, " "),
            _ => panic!("{key}"),
        };
        let name = if key == "Space" { " " } else { key };
        for kind in ["keyDown", "keyUp"] {
            let mut params = json!({ "type": kind, "key": name, "code": key, "windowsVirtualKeyCode": code });
            if kind == "keyDown" && !text.is_empty() {
                params["text"] = json!(text);
            }
            self.ask("Input.dispatchKeyEvent", &params);
        }
    }

    /// Types a text where the focus is.
    pub(crate) fn write(&mut self, text: &str) {
        self.ask("Input.insertText", &json!({ "text": text }));
    }

    /// Hands a file to a file input.
    pub(crate) fn choose(&mut self, selector: &str, file: &Path) {
        let root = self.ask("DOM.getDocument", &json!({}))["root"]["nodeId"].clone();
        let node =
            self.ask("DOM.querySelector", &json!({ "nodeId": root, "selector": selector }))["nodeId"].clone();
        self.ask("DOM.setFileInputFiles", &json!({ "nodeId": node, "files": [file.display().to_string()] }));
    }

    /// Looks as `media` (screen or print) in a colour scheme (light or dark).
    pub(crate) fn look(&mut self, media: &str, scheme: &str) {
        let feature = json!([{ "name": "prefers-color-scheme", "value": scheme }]);
        self.ask("Emulation.setEmulatedMedia", &json!({ "media": media, "features": feature }));
    }

    pub(crate) fn size(&mut self, width: u32, height: u32) {
        let params =
            json!({ "width": width, "height": height, "deviceScaleFactor": 1, "mobile": width < 600 });
        self.ask("Emulation.setDeviceMetricsOverride", &params);
    }

    /// Prints to PDF, in inches.
    pub(crate) fn print(&mut self, width: f64, height: f64) -> Vec<u8> {
        let params = json!({ "paperWidth": width, "paperHeight": height, "printBackground": true });
        bytes(self.ask("Page.printToPDF", &params)["data"].as_str().unwrap())
    }

    pub(crate) fn screenshot(&mut self) -> Vec<u8> {
        bytes(self.ask("Page.captureScreenshot", &json!({ "format": "png" }))["data"].as_str().unwrap())
    }
}

/// Reads base 64 (RFC 4648).
fn bytes(text: &str) -> Vec<u8> {
    let value = |c: u8| match c {
        b'A'..=b'Z' => c - b'A',
        b'a'..=b'z' => c - b'a' + 26,
        b'0'..=b'9' => c - b'0' + 52,
        b'+' => 62,
        b'/' => 63,
        _ => panic!("not base 64"),
    };
    let digits: Vec<u8> = text.bytes().filter(|c| *c != b'=').map(value).collect();
    let group = |chunk: &[u8]| {
        let all =
            chunk.iter().fold(0_u32, |all, digit| all << 6 | u32::from(*digit)) << (6 * (4 - chunk.len()));
        all.to_be_bytes()[1..chunk.len()].to_vec()
    };
    digits.chunks(4).flat_map(group).collect()
}
