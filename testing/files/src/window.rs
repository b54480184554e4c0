//! A window of the program that runs, and requests to it, byte by byte.

use serde_json::{Value, json};
use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

/// Longest that anything here may take.
const PATIENCE: Duration = Duration::from_secs(60);

/// A window without a browser.
pub struct Window {
    child: Child,
    /// Its port.
    pub port: u16,
    /// The path of the link that it gave.
    pub link: String,
    /// The key that the link handed over, as a cookie is sent.
    pub cookie: String,
}

/// An answer.
#[derive(Debug)]
pub struct Answer {
    /// Its status; 0 where the connection ended without one.
    pub status: u16,
    /// Its first lines.
    pub head: String,
    /// What it holds.
    pub body: Vec<u8>,
}

impl Answer {
    /// Its content as plain data.
    pub fn json(&self) -> Value {
        serde_json::from_slice(&self.body)
            .unwrap_or_else(|e| panic!("{e}: {}", String::from_utf8_lossy(&self.body)))
    }
}

impl Window {
    /// Opens one on a folder, in a place of its own for whatever it might write.
    pub fn open(program: &Path, folder: Option<&Path>) -> Self {
        Self::with_kit(program, folder, Path::new("no-kit-is-kept-here"))
    }
    /// The same with a kit of its own.
    pub fn with_kit(program: &Path, folder: Option<&Path>, kit: &Path) -> Self {
        let mut command = Command::new(program);
        command.env("LIGHTLOSS_KIT", kit);
        command.arg("open").args(folder).arg("--no-browser");
        let mut child = command
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        let mut line = String::new();
        BufReader::new(child.stdout.as_mut().unwrap()).read_line(&mut line).unwrap();
        let address = line.split("http://127.0.0.1:").nth(1).expect(&line);
        let (port, path) = address.trim().split_once('/').unwrap();
        let mut window = Self {
            child,
            port: port.parse().unwrap(),
            link: format!("/{path}"),
            cookie: String::new(),
        };
        let entered = window.ask("GET", &window.link.clone(), &[], b"");
        assert_eq!(entered.status, 200, "{entered:?}");
        let cookie = entered.head.lines().find_map(|l| l.strip_prefix("set-cookie: ")).unwrap();
        assert!(cookie.contains("HttpOnly") && cookie.contains("SameSite=Strict"), "{cookie}");
        window.cookie = cookie.split(';').next().unwrap().to_owned();
        window
    }
    /// Sends bytes and hears what comes back until the other side ends, or has nothing to say.
    pub fn raw(&self, bytes: &[u8]) -> Answer {
        let mut stream = TcpStream::connect(("127.0.0.1", self.port)).unwrap();
        stream.set_read_timeout(Some(PATIENCE)).unwrap();
        // The other side may hang up in the middle of it.
        let _ = stream.write_all(bytes);
        let mut heard = Vec::new();
        let _ = stream.read_to_end(&mut heard);
        let end = heard.windows(4).position(|w| w == b"\r\n\r\n").map_or(heard.len(), |at| at + 4);
        let head = String::from_utf8_lossy(&heard[..end]).into_owned();
        let status = head.split(' ').nth(1).and_then(|s| s.parse().ok()).unwrap_or(0);
        Answer { status, head, body: heard[end..].to_vec() }
    }
    /// A request with these headers and no others but Host and what ends the connection.
    pub fn ask(&self, method: &str, path: &str, headers: &[(&str, &str)], body: &[u8]) -> Answer {
        let mut head = format!("{method} {path} HTTP/1.1\r\nConnection: close\r\n");
        if !headers.iter().any(|(name, _)| *name == "Host") {
            head.push_str(&format!("Host: 127.0.0.1:{}\r\n", self.port));
        }
        headers.iter().for_each(|(name, value)| head.push_str(&format!("{name}: {value}\r\n")));
        if !body.is_empty() {
            head.push_str(&format!("Content-Length: {}\r\n", body.len()));
        }
        let mut bytes = format!("{head}\r\n").into_bytes();
        bytes.extend_from_slice(body);
        self.raw(&bytes)
    }
    /// As our own page asks.
    pub fn get(&self, path: &str) -> Answer {
        self.ask("GET", path, &[("Cookie", &self.cookie)], b"")
    }
    /// As our own page sends.
    pub fn post(&self, path: &str, body: Value) -> Answer {
        let origin = format!("http://127.0.0.1:{}", self.port);
        let headers = [("Cookie", self.cookie.as_str()), ("Origin", &origin)];
        self.ask("POST", path, &headers, body.to_string().as_bytes())
    }
    /// The same, where it must be done.
    pub fn done(&self, path: &str, body: Value) -> Value {
        let answer = self.post(path, body);
        assert_eq!(answer.status, 200, "{path}: {}", String::from_utf8_lossy(&answer.body));
        answer.json()
    }
    /// The sheet as soon as all frames are read.
    pub fn sheet(&self) -> Value {
        let began = Instant::now();
        loop {
            let sheet = self.get("/state").json();
            if !sheet.is_null() && sheet["read"][0] == sheet["read"][1] {
                return sheet;
            }
            assert!(began.elapsed() < PATIENCE, "still reading: {sheet}");
            std::thread::sleep(Duration::from_millis(20));
        }
    }
    /// A frame of the sheet by its name.
    pub fn frame(&self, name: &str) -> Value {
        let sheet = self.sheet();
        let groups = sheet["groups"].as_array().unwrap();
        let frames = groups.iter().flat_map(|g| g["frames"].as_array().unwrap());
        frames.into_iter().find(|f| f["file"] == name).cloned().unwrap_or(Value::Null)
    }
    /// The file that stands at this place of the first group.
    pub fn file(&self, place: usize) -> String {
        self.sheet()["groups"][0]["frames"][place]["file"].as_str().unwrap().to_owned()
    }
    /// Says what a frame is.
    pub fn say(&self, name: &str, said: Option<&str>) {
        let id = self.frame(name)["id"].clone();
        self.done("/decide", json!({ "frames": [id], "said": said }));
    }
    /// Its process.
    pub fn child(&mut self) -> &mut Child {
        &mut self.child
    }
    /// Asks it to end as Ctrl-C does, and gives what it said at the end.
    #[cfg(unix)]
    pub fn end(mut self) -> String {
        let id = self.child.id().to_string();
        assert!(Command::new("kill").args(["-INT", &id]).status().unwrap().success());
        let mut said = String::new();
        self.child.stderr.take().unwrap().read_to_string(&mut said).unwrap();
        assert!(self.child.wait().unwrap().success(), "{said}");
        said
    }
}

impl Drop for Window {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}
