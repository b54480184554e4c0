//! Everybody who must not come in is turned away, and counted.

use super::open;
use lightloss_test_files::window::Window;
use serde_json::json;
use std::io::{Read, Write};
use std::net::TcpStream;
use std::time::Duration;

fn origin(window: &Window) -> String {
    format!("http://127.0.0.1:{}", window.port)
}

/// Rebinding: a name of the attacker's that leads to this machine (RFC 9110, 7.4: a server must not
/// serve what it is not asked for by its own name).
#[test]
fn another_name_is_not_served() {
    let window = open(None);
    let cookie = ("Cookie", window.cookie.as_str());
    let port = window.port;
    let others = [
        format!("evil.example:{port}"),
        format!("127.0.0.1.evil.example:{port}"),
        "127.0.0.1".to_owned(),
        format!("127.0.0.1:{}", port.wrapping_add(1)),
        format!("localhost.:{port}"),
        format!("0.0.0.0:{port}"),
        String::new(),
    ];
    for host in &others {
        let answer = window.ask("GET", "/state", &[("Host", host), cookie], b"");
        assert_eq!(answer.status, 421, "{host}: {answer:?}");
    }
    let twice = format!(
        "GET /state HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nHost: evil.example\r\n\
         Connection: close\r\nCookie: {}\r\n\r\n",
        window.cookie
    );
    assert_eq!(window.raw(twice.as_bytes()).status, 421);
    // An absolute form names an authority of its own.
    let absolute = format!(
        "GET http://evil.example/state HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\n\
         Connection: close\r\nCookie: {}\r\n\r\n",
        window.cookie
    );
    assert!([400, 421].contains(&window.raw(absolute.as_bytes()).status));
    for own in [format!("localhost:{port}"), format!("[::1]:{port}")] {
        assert_eq!(
            window.ask("GET", "/state", &[("Host", &own), cookie], b"").status,
            200,
            "{own}"
        );
    }
    counted(window, "8 under another name");
}

#[test]
fn other_pages_can_neither_read_nor_send() {
    let window = open(None);
    let cookie = ("Cookie", window.cookie.as_str());
    let port = window.port;
    let body = json!({ "path": "/" }).to_string();
    let others = [
        "http://evil.example".to_owned(),
        "null".to_owned(),
        format!("https://127.0.0.1:{port}"),
        format!("http://127.0.0.1:{}", port.wrapping_add(1)),
        format!("http://localhost:{port}"),
    ];
    for other in &others {
        let headers = [cookie, ("Origin", other.as_str())];
        assert_eq!(window.ask("POST", "/places", &headers, body.as_bytes()).status, 403, "{other}");
        assert_eq!(window.ask("GET", "/state", &headers, b"").status, 403, "{other}");
        assert_eq!(window.ask("OPTIONS", "/places", &headers, b"").status, 403, "{other}");
    }
    // A form of another page sends no Origin in old browsers.
    assert_eq!(window.ask("POST", "/places", &[cookie], body.as_bytes()).status, 403);
    let site = [cookie, ("Sec-Fetch-Site", "cross-site")];
    assert_eq!(window.ask("GET", "/state", &site, b"").status, 403);
    let own = origin(&window);
    let answer = window.ask("POST", "/places", &[cookie, ("Origin", &own)], body.as_bytes());
    assert_eq!(answer.status, 200);
    // Nobody is told that others may ask.
    assert!(!answer.head.to_lowercase().contains("access-control"), "{}", answer.head);
    counted(window, "17 from pages of others");
}

#[test]
fn without_the_key_nothing_is_told() {
    let window = open(None);
    let name = window.cookie.split('=').next().unwrap().to_owned();
    let own = origin(&window);
    let wrong = [
        String::new(),
        format!("{name}="),
        format!("{name}={}", "0".repeat(64)),
        format!("{name}={}", &window.cookie[name.len() + 1..window.cookie.len() - 1]),
        format!("other={}", &window.cookie[name.len() + 1..]),
    ];
    for cookie in &wrong {
        let headers = [("Cookie", cookie.as_str()), ("Origin", own.as_str())];
        for path in ["/", "/state", "/events", "/window.js", "/picture/0", "/places", "/nothing"] {
            let answer = window.ask("GET", path, &headers, b"");
            assert_eq!(answer.status, 401, "{cookie:?} {path}");
            assert!(answer.body.len() < 200, "{answer:?}");
        }
        let sent = window.ask("POST", "/open", &headers, br#"{"path":"/"}"#);
        assert_eq!(sent.status, 401, "{cookie:?}");
    }
    // The link holds once, and only as it was given.
    assert_eq!(window.ask("GET", &window.link, &[], b"").status, 401);
    assert_eq!(window.ask("GET", "/enter/", &[], b"").status, 401);
    let guessed = format!("/enter/{}", "a".repeat(64));
    assert_eq!(window.ask("GET", &guessed, &[], b"").status, 401);
    // Whoever has the key may go back to it.
    assert_eq!(window.get(&window.link).status, 200);
    let said = counted(window, "40 without the key");
    assert!(said.contains("3 by a link that does not hold"), "{said}");
}

#[test]
fn no_path_leads_out() {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("secret.txt"), "not to be told").unwrap();
    std::fs::write(folder.path().join("P1.dng"), "no frame").unwrap();
    let window = open(None);
    let paths = [
        "/../../etc/passwd",
        "/picture/../../../etc/passwd",
        "/%2e%2e/%2e%2e/etc/passwd",
        "/picture/%2e%2e%2fetc%2fpasswd",
        "/..%5c..%5cwindows",
        "//etc/passwd",
        "/window.js/../../Cargo.toml",
    ];
    for path in paths {
        let answer = window.get(path);
        assert_eq!(answer.status, 400, "{path}: {answer:?}");
    }
    assert_eq!(window.get("/picture/etc").status, 400);
    assert_eq!(window.get("/etc/passwd").status, 404);
    // Of a folder the names of folders and frames are told, and of nothing else.
    let told = window.done("/places", json!({ "path": folder.path() }));
    assert_eq!(told["frames"], json!(["P1.dng"]));
    assert!(!told.to_string().contains("secret"), "{told}");
    assert_eq!(window.post("/places", json!({ "path": "relative" })).status, 422);
    assert_eq!(window.post("/open", json!({ "path": "../.." })).status, 422);
    assert_eq!(window.post("/places", json!({ "path": "/etc/passwd" })).status, 422);
    counted(window, "7 for paths that lead out");
}

#[test]
fn long_and_broken_requests_cost_little() {
    let window = open(None);
    let own = origin(&window);
    let headers = [("Cookie", window.cookie.as_str()), ("Origin", own.as_str())];
    let long = vec![b' '; 65 * 1024];
    assert_eq!(window.ask("POST", "/open", &headers, &long).status, 413);
    // It says that it will send a terabyte.
    let told = format!(
        "POST /open HTTP/1.1\r\nHost: 127.0.0.1:{}\r\nOrigin: {own}\r\nCookie: {}\r\n\
         Content-Length: 1099511627776\r\nConnection: close\r\n\r\n",
        window.port, window.cookie
    );
    assert_eq!(window.raw(told.as_bytes()).status, 413);
    let line = format!("GET /{} HTTP/1.1\r\nHost: x\r\n\r\n", "a".repeat(64 * 1024));
    assert!([0, 414, 431].contains(&window.raw(line.as_bytes()).status));
    let many = "X-A: b\r\n".repeat(500);
    let many = format!("GET / HTTP/1.1\r\nHost: x\r\n{many}\r\n");
    assert!([0, 431].contains(&window.raw(many.as_bytes()).status));
    for broken in
        [&b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03"[..], b"BREW / HTCPCP/1.0\r\n\r\n"]
    {
        assert!([0, 400].contains(&window.raw(broken).status), "{broken:?}");
    }
    for body in [&b"{"[..], b"[]", b"{\"frames\":[-1]}", b"{\"frames\":\"all\"}", b"\xff\xfe"] {
        assert_eq!(window.ask("POST", "/decide", &headers, body).status, 400, "{body:?}");
    }
    assert_eq!(window.get("/state").status, 200);
    let said = counted(window, "too long");
    assert!(said.contains("no HTTP"), "{said}");
}

/// Browsers keep six connections to one address, and each page waits for news on one of them: the page
/// that would take the last one is told so, and goes on when another is closed.
#[test]
fn a_page_too_many_is_told_so_and_hangs_nothing() {
    const OF_A_BROWSER: usize = 6;
    let window = open(None);
    let page = || {
        let mut page = listening(&window);
        let mut heard = [0; 2048];
        let count = page.read(&mut heard).unwrap();
        (page, String::from_utf8_lossy(&heard[..count]).into_owned())
    };
    let mut pages: Vec<(TcpStream, String)> = (1..OF_A_BROWSER).map(|_| page()).collect();
    assert!(pages.iter().all(|(_, said)| said.starts_with("HTTP/1.1 200")), "{pages:?}");
    let (_, said) = page();
    assert!(said.starts_with("HTTP/1.1 503") && said.contains("too many pages"), "{said}");
    pages.pop();
    let late = std::time::Instant::now() + Duration::from_secs(30);
    while !page().1.starts_with("HTTP/1.1 200") {
        assert!(std::time::Instant::now() < late, "there is room for one again");
        std::thread::sleep(Duration::from_millis(50));
    }
}

/// A page that hears the news.
fn listening(window: &Window) -> TcpStream {
    let mut page = TcpStream::connect(("127.0.0.1", window.port)).unwrap();
    let ask = format!(
        "GET /events HTTP/1.1\r\nHost: 127.0.0.1:{}\r\nCookie: {}\r\n\r\n",
        window.port, window.cookie
    );
    page.write_all(ask.as_bytes()).unwrap();
    page.set_read_timeout(Some(Duration::from_secs(30))).unwrap();
    page
}

/// A hundred connections that say nothing hold no more than their share, for no longer than the
/// patience of the server; the page that is open hears its news all the while.
#[test]
fn a_hundred_connections_are_not_waited_for() {
    let window = open(None);
    let mut page = listening(&window);
    let mut heard = [0; 2048];
    assert!(page.read(&mut heard).unwrap() > 0);
    let crowd: Vec<TcpStream> = (0..100)
        .filter_map(|_| {
            let mut one = TcpStream::connect(("127.0.0.1", window.port)).ok()?;
            one.set_read_timeout(Some(Duration::from_secs(30))).unwrap();
            let _ = one.write_all(b"GET / HTTP/1.1\r\n");
            Some(one)
        })
        .collect();
    // All of them end: the ones beyond the limit at once, the silent ones after a while.
    for mut one in crowd {
        let mut rest = Vec::new();
        let _ = one.read_to_end(&mut rest);
    }
    assert_eq!(window.get("/state").status, 200);
    counted(window, "too many at once");
}

/// Every answer, also a refusal, carries what keeps other pages from using it.
#[test]
fn every_answer_is_guarded() {
    let window = open(None);
    for answer in [
        window.get("/shoot"),
        window.get("/nothing"),
        window.ask("GET", "/state", &[], b""),
        window.ask("GET", "/state", &[("Host", "evil.example")], b""),
    ] {
        let head = answer.head.to_lowercase();
        for needed in [
            "content-security-policy: default-src 'none'; script-src 'self'; style-src 'self'",
            "frame-ancestors 'none'",
            "cache-control: no-store",
            "x-content-type-options: nosniff",
            "referrer-policy: no-referrer",
        ] {
            assert!(head.contains(needed), "{needed} is not in {head}");
        }
        assert!(!head.contains("unsafe-inline"), "{head}");
    }
    let page = String::from_utf8(window.get("/shoot").body).unwrap();
    assert!(!page.contains("<script>") && !page.contains(" style=") && !page.contains(" onclick"));
}

#[cfg(unix)]
fn counted(window: Window, expected: &str) -> String {
    let said = window.end();
    assert!(said.contains("turned away") && said.contains(expected), "{expected}: {said}");
    said
}

#[cfg(not(unix))]
fn counted(_: Window, _: &str) -> String {
    String::new()
}
