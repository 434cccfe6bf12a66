//! A headless Chromium, driven over its DevTools protocol: one page in one tab, commands in turn, events kept.

use std::net::TcpStream;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use serde_json::{Value, json};
use tungstenite::stream::MaybeTlsStream;
use tungstenite::{Message, WebSocket};

/// How long the browser may take for anything.
const PATIENCE: Duration = Duration::from_secs(60);

/// A browser with one tab.
pub struct Browser {
    child: Child,
    socket: WebSocket<MaybeTlsStream<TcpStream>>,
    session: String,
    last: u64,
    /// Everything that the tab reported so far.
    pub events: Vec<Value>,
    _folder: tempfile::TempDir,
}

/// The browser to use: what `KEYWAY_BROWSER` names, or `chromium` from the path.
fn program() -> Option<PathBuf> {
    if let Some(named) = std::env::var_os("KEYWAY_BROWSER") {
        return Some(named.into());
    }
    let path = std::env::var_os("PATH")?;
    std::env::split_paths(&path).map(|folder| folder.join("chromium")).find(|file| file.is_file())
}

/// Starts a browser. Without one, says so and gives `None`, or fails where `KEYWAY_REQUIRE_BROWSER` is set.
pub fn start() -> Option<Browser> {
    let Some(program) = program() else {
        let required = std::env::var_os("KEYWAY_REQUIRE_BROWSER").is_some();
        assert!(!required, "KEYWAY_REQUIRE_BROWSER is set, and there is no program `chromium`");
        eprintln!("note: there is no program `chromium`; the browser tests were NOT run");
        return None;
    };
    Some(Browser::new(&program))
}

impl Browser {
    fn new(program: &Path) -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        let child = Command::new(program)
            .args(["--headless=new", "--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-sync"])
            .args(["--disable-background-networking", "--disable-component-update", "--disable-dev-shm-usage"])
            .args(["--remote-debugging-port=0", "--hide-scrollbars", "about:blank"])
            .arg(format!("--user-data-dir={}", folder.path().display()))
            .stdin(Stdio::null())
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .expect("the browser starts");
        let address = Self::address(folder.path());
        let (socket, _) = tungstenite::connect(address).expect("the browser's socket");
        if let MaybeTlsStream::Plain(stream) = socket.get_ref() {
            stream.set_read_timeout(Some(PATIENCE)).expect("a time-out");
        }
        let mut browser = Self { child, socket, session: String::new(), last: 0, events: Vec::new(), _folder: folder };
        let target = browser.call("Target.createTarget", json!({"url": "about:blank"}));
        let attached = browser.call("Target.attachToTarget", json!({"targetId": target["targetId"], "flatten": true}));
        browser.session = attached["sessionId"].as_str().expect("a session").to_owned();
        for domain in ["Page", "Runtime", "Log", "Network", "DOM", "Accessibility"] {
            browser.call(&format!("{domain}.enable"), json!({}));
        }
        browser.size(1280, 900);
        browser
    }

    /// The browser writes where it listens into its folder.
    fn address(folder: &Path) -> String {
        let began = Instant::now();
        loop {
            let text = std::fs::read_to_string(folder.join("DevToolsActivePort")).unwrap_or_default();
            if let Some((port, path)) = text.split_once('\n').filter(|(_, path)| path.starts_with('/')) {
                return format!("ws://127.0.0.1:{port}{}", path.trim());
            }
            assert!(began.elapsed() < PATIENCE, "the browser does not listen");
            std::thread::sleep(Duration::from_millis(20));
        }
    }

    /// Gives a command and waits for its answer.
    pub fn call(&mut self, method: &str, parameters: Value) -> Value {
        self.last += 1;
        let mut command = json!({"id": self.last, "method": method, "params": parameters});
        if !self.session.is_empty() {
            command["sessionId"] = self.session.as_str().into();
        }
        self.socket.send(Message::text(command.to_string())).expect("a command is sent");
        loop {
            let message = self.message();
            if message["id"] == self.last {
                assert!(message.get("error").is_none(), "{method}: {}", message["error"]);
                return message["result"].clone();
            }
            self.events.push(message);
        }
    }

    fn message(&mut self) -> Value {
        loop {
            match self.socket.read() {
                Ok(Message::Text(text)) => return serde_json::from_str(&text).expect("JSON"),
                Ok(_) => {}
                // A signal is no answer and no fault.
                Err(tungstenite::Error::Io(error)) if error.kind() == std::io::ErrorKind::Interrupted => {}
                Err(error) => panic!("the browser does not answer: {error}"),
            }
        }
    }

    /// Opens a file and waits until all of the page is there.
    pub fn open(&mut self, file: &Path) {
        // From an empty page, or the one that was there before might answer.
        self.call("Page.navigate", json!({"url": "about:blank"}));
        self.until("location.href === 'about:blank'");
        self.call("Page.navigate", json!({"url": format!("file://{}", file.display())}));
        self.until("location.protocol === 'file:' && document.documentElement?.dataset.ready === 'yes'");
    }

    /// Waits until an expression is true.
    pub fn until(&mut self, expression: &str) {
        let began = Instant::now();
        while self.value(expression) != true {
            assert!(began.elapsed() < PATIENCE, "never true: {expression}; {:#?}", self.complaints());
            std::thread::sleep(Duration::from_millis(10));
        }
    }

    /// The value of an expression in the page.
    pub fn value(&mut self, expression: &str) -> Value {
        let parameters = json!({"expression": expression, "returnByValue": true, "awaitPromise": true});
        let answer = self.call("Runtime.evaluate", parameters);
        assert!(answer.get("exceptionDetails").is_none(), "{expression}: {}", answer["exceptionDetails"]);
        answer["result"]["value"].clone()
    }

    /// The value of an expression that is a text.
    pub fn text(&mut self, expression: &str) -> String {
        self.value(expression).as_str().unwrap_or_default().to_owned()
    }

    /// The value of an expression that is a number.
    pub fn number(&mut self, expression: &str) -> f64 {
        let value = self.value(expression);
        value.as_f64().unwrap_or_else(|| panic!("{expression} is {value}"))
    }

    /// Presses a key and lets it go.
    pub fn key(&mut self, key: &str) {
        let (code, text) = match key {
            "Enter" => (13, "\r"),
            "Tab" => (9, ""),
            " " => (32, " "),
            "PageUp" => (33, ""),
            "PageDown" => (34, ""),
            "End" => (35, ""),
            "Home" => (36, ""),
            "ArrowLeft" => (37, ""),
            "ArrowUp" => (38, ""),
            "ArrowRight" => (39, ""),
            "ArrowDown" => (40, ""),
            other => panic!("no key {other}"),
        };
        for kind in ["keyDown", "keyUp"] {
            let text = if kind == "keyDown" { text } else { "" };
            let event = json!({"type": kind, "key": key, "windowsVirtualKeyCode": code, "text": text});
            self.call("Input.dispatchKeyEvent", event);
        }
        self.frame();
    }

    /// Waits until the browser has drawn twice, so that what an event asked for has been done.
    pub fn frame(&mut self) {
        self.value("new Promise(done => requestAnimationFrame(() => requestAnimationFrame(() => done(1))))");
    }

    /// Types a text where the keyboard is.
    pub fn type_text(&mut self, text: &str) {
        self.call("Input.insertText", json!({"text": text}));
        self.frame();
    }

    /// Makes the window so large.
    pub fn size(&mut self, width: u32, height: u32) {
        let metrics = json!({"width": width, "height": height, "deviceScaleFactor": 1, "mobile": false});
        self.call("Emulation.setDeviceMetricsOverride", metrics);
    }

    /// Chooses a scheme of colours: "light" or "dark".
    pub fn scheme(&mut self, scheme: &str) {
        let feature = json!({"features": [{"name": "prefers-color-scheme", "value": scheme}]});
        self.call("Emulation.setEmulatedMedia", feature);
        self.frame();
    }

    /// Everything that went wrong in the page: errors, exceptions, what the policy forbade, requests.
    pub fn complaints(&self) -> Vec<String> {
        let of = |event: &Value| {
            let parameters = &event["params"];
            match event["method"].as_str()? {
                "Runtime.exceptionThrown" => Some(parameters.to_string()),
                "Runtime.consoleAPICalled" => Some(parameters.to_string()),
                "Log.entryAdded" => Some(parameters["entry"].to_string()),
                "Network.requestWillBeSent" => {
                    let address = parameters["request"]["url"].as_str().unwrap_or("?");
                    let inner = address.starts_with("data:") || address.starts_with("about:");
                    (!inner && parameters["type"] != "Document").then(|| format!("a request for {address}"))
                }
                _ => None,
            }
        };
        self.events.iter().filter_map(of).collect()
    }

    /// Keeps a picture of the page below `CARGO_TARGET_TMPDIR`, for people to look at.
    pub fn picture(&mut self, name: &str, whole: bool) {
        let parameters = json!({"format": "png", "captureBeyondViewport": whole});
        let answer = self.call("Page.captureScreenshot", parameters);
        self.keep(&format!("{name}.png"), &answer["data"]);
    }

    /// Keeps the page as it is printed, and gives its length in bytes.
    pub fn print(&mut self, name: &str) -> usize {
        let answer =
            self.call("Page.printToPDF", json!({"printBackground": false, "paperWidth": 8.27, "paperHeight": 11.69}));
        self.keep(&format!("{name}.pdf"), &answer["data"])
    }

    fn keep(&self, name: &str, data: &Value) -> usize {
        let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("pages");
        std::fs::create_dir_all(&folder).expect("a folder");
        let bytes = decode(data.as_str().unwrap_or_default());
        std::fs::write(folder.join(name), &bytes).expect("a file");
        bytes.len()
    }
}

impl Drop for Browser {
    fn drop(&mut self) {
        let close = json!({"id": 0, "method": "Browser.close"});
        let _ = self.socket.send(Message::text(close.to_string()));
        std::thread::sleep(Duration::from_millis(100));
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// Base64, as the browser sends pictures.
fn decode(text: &str) -> Vec<u8> {
    let value = |letter: u8| match letter {
        b'A'..=b'Z' => Some(letter - b'A'),
        b'a'..=b'z' => Some(letter - b'a' + 26),
        b'0'..=b'9' => Some(letter - b'0' + 52),
        b'+' => Some(62),
        b'/' => Some(63),
        _ => None,
    };
    let letters: Vec<u8> = text.bytes().filter_map(value).collect();
    let mut bytes = Vec::with_capacity(letters.len() * 3 / 4);
    for chunk in letters.chunks(4) {
        let bits = (0..4).fold(0u32, |bits, index| bits << 6 | u32::from(*chunk.get(index).unwrap_or(&0)));
        bytes.extend(&bits.to_be_bytes()[1..chunk.len()]);
    }
    bytes
}
