//! A machine that runs a program in small steps of time, out of a profile's TOML
//! alone: the second way to a program's time. Shares no code with the library.
//!
//! Where the planner has closed forms this has steps: speeds, heaters and changes
//! of acceleration are marched forward in time. The rules are those that the
//! library documents: corners by deviation, bends by centripetal acceleration,
//! chords of a bend by the circle through their ends, a least time for a line.

#![allow(
    clippy::float_cmp,
    clippy::needless_range_loop,
    reason = "word numbers are whole, goals are assigned, and axes are counted"
)]

use toml::Value;

/// Seconds by what they are spent on.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Split {
    pub(crate) total: f64,
    pub(crate) fibre: f64,
    pub(crate) matrix: f64,
    pub(crate) travel: f64,
    pub(crate) head_change: f64,
    pub(crate) heating: f64,
}

/// What the profile says, as far as time goes.
pub(crate) struct Machine {
    profile: Value,
}

#[derive(Clone, Copy, Debug, PartialEq)]
enum For {
    Fibre,
    Matrix,
    Travel,
    Other,
}

/// A piece of motion: end points, arc centre and turn (positive to the left).
#[derive(Clone, Copy, Debug)]
struct Piece {
    from: [f64; 3],
    to: [f64; 3],
    arc: Option<([f64; 2], f64)>,
    speed: f64,
    acceleration: f64,
    goal: For,
}

impl Piece {
    fn flat(&self) -> f64 {
        match self.arc {
            Some((c, turn)) => libm::hypot(self.from[0] - c[0], self.from[1] - c[1]) * turn.abs(),
            None => libm::hypot(self.to[0] - self.from[0], self.to[1] - self.from[1]),
        }
    }

    fn length(&self) -> f64 {
        libm::hypot(self.flat(), self.to[2] - self.from[2])
    }

    /// Unit direction at the start or the end.
    fn heading(&self, end: bool) -> [f64; 3] {
        let l = self.length();
        let dz = (self.to[2] - self.from[2]) / l;
        match self.arc {
            Some((c, turn)) => {
                let p = if end { self.to } else { self.from };
                let (x, y) = (p[0] - c[0], p[1] - c[1]);
                let r = libm::hypot(x, y);
                let s = turn.signum() * self.flat() / l;
                [-y / r * s, x / r * s, dz]
            }
            None => [(self.to[0] - self.from[0]) / l, (self.to[1] - self.from[1]) / l, dz],
        }
    }
}

/// Room temperature, degC.
const ROOM: f64 = 20.0;

/// Steps in which a heater is followed, s.
const HEAT_STEP: f64 = 0.02;

impl Machine {
    pub(crate) fn of(profile: &str) -> Self {
        Self { profile: Value::Table(toml::from_str(profile).expect("a profile")) }
    }

    fn get(&self, path: &str) -> Option<&Value> {
        path.split('.').try_fold(&self.profile, |v, key| v.get(key))
    }

    fn maybe(&self, path: &str) -> Option<f64> {
        let v = self.get(path)?;
        v.as_float().or_else(|| v.as_integer().map(|i| i as f64))
    }

    fn number(&self, path: &str) -> f64 {
        self.maybe(path).unwrap_or_else(|| panic!("the profile has {path}"))
    }

    fn word(&self, path: &str) -> &str {
        self.get(path).and_then(Value::as_str).unwrap_or("")
    }

    fn list(&self, path: &str) -> Vec<f64> {
        let numbers = self.get(path).and_then(Value::as_array).map(|a| {
            a.iter().map(|v| v.as_float().or_else(|| v.as_integer().map(|i| i as f64)).expect("a number"))
        });
        numbers.map_or_else(Vec::new, Iterator::collect)
    }

    /// Runs a program.
    pub(crate) fn run(&self, program: &str) -> Split {
        Run::new(self).all(program)
    }
}

struct Heater {
    rate: f64,
    constant: f64,
    cooling: f64,
    cooling_constant: f64,
    now: f64,
    goal: f64,
}

impl Heater {
    /// Follows it for some seconds.
    fn pass(&mut self, seconds: f64) {
        let mut left = seconds;
        while left > 0.0 && self.now != self.goal {
            let step = left.min(HEAT_STEP);
            self.step(step);
            left -= step;
        }
    }

    fn step(&mut self, step: f64) {
        if self.goal > self.now {
            let slope = self.rate - (self.now - ROOM) / self.constant;
            self.now = (self.now + slope * step).min(self.goal);
        } else {
            let slope = if self.cooling_constant.is_finite() {
                (self.now - ROOM) / self.cooling_constant
            } else {
                self.cooling
            };
            self.now = (self.now - slope * step).max(self.goal);
        }
    }

    /// Seconds until it is there.
    fn wait(&mut self) -> f64 {
        let mut s = 0.0;
        while self.now != self.goal {
            self.step(HEAT_STEP);
            s += HEAT_STEP;
            assert!(s < 1e5, "it never gets there");
        }
        s
    }
}

struct Run<'a> {
    machine: &'a Machine,
    split: Split,
    pieces: Vec<Piece>,
    heads: [Heater; 2],
    tools: [f64; 2],
    head: Option<usize>,
    at: [f64; 3],
    known: bool,
    speed: f64,
    motion: f64,
    e: f64,
    absolute: bool,
    frame: For,
    cut: bool,
    dev: f64,
    axes: [f64; 3],
    jerk: f64,
    block: f64,
}

impl<'a> Run<'a> {
    fn new(m: &'a Machine) -> Self {
        let head = |name: &str| {
            let n = |key: &str| m.number(&format!("heads.{name}.{key}"));
            let constant = m.maybe(&format!("heads.{name}.time_constant_s"));
            Heater {
                rate: n("heating_k_s"),
                constant: constant.unwrap_or(f64::INFINITY),
                cooling: n("cooling_k_s"),
                cooling_constant: constant
                    .map_or(f64::INFINITY, |_| (n("max_temperature_c") - ROOM) / n("cooling_k_s")),
                now: ROOM,
                goal: ROOM,
            }
        };
        let speed = |axis: &str| m.number(&format!("limits.speed_mm_s.{axis}"));
        Self {
            machine: m,
            split: Split::default(),
            pieces: Vec::new(),
            heads: [head("matrix"), head("fibre")],
            tools: [m.number("tools.matrix"), m.number("tools.fibre")],
            head: None,
            at: [0.0; 3],
            known: false,
            speed: 0.0,
            motion: 1.0,
            e: 0.0,
            absolute: m.word("controller.extrusion") == "absolute",
            frame: For::Travel,
            cut: false,
            dev: m.number("limits.corner_deviation_mm"),
            axes: [speed("x"), speed("y"), speed("z")],
            jerk: m.maybe("limits.jerk_mm_s3").unwrap_or(f64::INFINITY),
            block: m.maybe("controller.block_time_s").unwrap_or(0.0),
        }
    }

    /// Time passes at rest.
    fn pass(&mut self, seconds: f64) {
        for h in &mut self.heads {
            h.pass(seconds);
        }
        self.split.total += seconds;
    }

    fn all(mut self, program: &str) -> Split {
        // what stands before the first head: heaters are set, the machine homes
        let lines: Vec<&str> = program.lines().collect();
        let is_t = |l: &&str| l.starts_with('T');
        let first = lines.iter().position(is_t).expect("a head is selected");
        let (mut bed, mut chamber) = (ROOM, ROOM);
        for line in &lines[..first] {
            let w = words(line);
            let s = of(&w, 'S');
            match of(&w, 'M') {
                Some(140.0 | 190.0) => bed = s.expect("S"),
                Some(141.0 | 191.0) => chamber = s.expect("S"),
                Some(104.0) => {
                    let t = of(&w, 'T').expect("T");
                    let head = self.tools.iter().position(|x| *x == t).expect("a head");
                    self.heads[head].goal = s.expect("S");
                }
                _ => {}
            }
        }
        let m = self.machine;
        let start = m.number("times.start_s");
        let mut hot: f64 = start;
        for (name, goal) in [("bed_heating", bed), ("chamber_heating", chamber)] {
            if let Some(rate) = m.maybe(&format!("{name}.heating_k_s"))
                && goal > ROOM
            {
                let constant = m.maybe(&format!("{name}.time_constant_s")).unwrap_or(f64::INFINITY);
                let mut heater =
                    Heater { rate, constant, cooling: rate, cooling_constant: constant, now: ROOM, goal };
                hot = hot.max(heater.wait());
            }
        }
        self.split.heating += hot - start;
        self.pass(hot);
        for line in &lines[first..] {
            self.line(line);
        }
        self.rest();
        self.pass(m.number("times.end_s"));
        self.split
    }

    fn line(&mut self, line: &str) {
        let comment = line.strip_prefix('(').and_then(|l| l.strip_suffix(')')).or(line.strip_prefix("; "));
        if let Some(c) = comment {
            match c {
                "cut" => {
                    self.rest();
                    self.pass(self.machine.number("times.cut_s"));
                    self.cut = true;
                }
                "purge" => self.frame = For::Other,
                _ if c.starts_with("course ") => self.frame = For::Fibre,
                "end purge" => self.frame = For::Travel,
                _ if c.starts_with("end course") => self.frame = For::Travel,
                _ => {}
            }
            return;
        }
        let w = words(line);
        if w.is_empty() {
            return;
        }
        let has_motion = w.iter().any(|(l, n)| *l == 'G' && *n <= 3.0);
        // the cut block's own dwells are in its time
        if self.cut && !has_motion {
            return;
        }
        self.cut = false;
        if w[0].0 == 'T' {
            self.select(w[0].1);
            return;
        }
        if let (Some(m @ (104.0 | 109.0)), Some(t)) = (of(&w, 'M'), of(&w, 'T')) {
            self.rest();
            let head = self.tools.iter().position(|x| *x == t).expect("a head");
            self.heads[head].goal = of(&w, 'S').expect("S");
            if m == 109.0 {
                // the other head goes on cooling meanwhile
                let s = self.heads[head].wait();
                self.heads[1 - head].pass(s);
                self.split.heating += s;
                self.split.total += s;
            }
            return;
        }
        if of(&w, 'G') == Some(92.0) {
            self.e = of(&w, 'E').expect("E");
            return;
        }
        if has_motion {
            self.motion = of(&w, 'G').expect("G");
            self.motion(&w);
        }
    }

    fn select(&mut self, tool: f64) {
        self.rest();
        let m = self.machine;
        let names = ["matrix", "fibre"];
        let new = self.tools.iter().position(|t| *t == tool).expect("a head");
        let offset = |h: usize| m.list(&format!("offsets_mm.{}", names[h]));
        let place = |h: usize| m.list(&format!("head_change.{}_at_mm", names[h]));
        let before = self.split.total;
        self.pass(m.number("times.head_change_s"));
        match m.word("head_change.way") {
            "park" | "dock" => {
                let dock = m.word("head_change.way") == "dock";
                if let Some(old) = self.head {
                    let to = place(old);
                    self.alone([self.at[0], self.at[1]], [to[0], to[1]]);
                    if dock {
                        let carriage = |h: usize| [place(h)[0] - offset(h)[0], place(h)[1] - offset(h)[1]];
                        self.alone(carriage(old), carriage(new));
                    }
                }
                let p = place(new);
                (self.at[0], self.at[1]) = (p[0], p[1]);
            }
            _ => {
                let old = self.head.map_or(vec![0.0; 3], offset);
                for k in 0..3 {
                    self.at[k] += offset(new)[k] - old[k];
                }
            }
        }
        if self.head.is_some() {
            self.split.head_change += self.split.total - before;
        }
        self.head = Some(new);
        self.known = false;
    }

    /// A travel by itself.
    fn alone(&mut self, from: [f64; 2], to: [f64; 2]) {
        let piece = Piece {
            from: [from[0], from[1], 0.0],
            to: [to[0], to[1], 0.0],
            arc: None,
            // as a program would write it
            speed: (self.machine.number("limits.speed_mm_s.travel") * 60.0).floor() / 60.0,
            acceleration: self.machine.number("limits.acceleration_mm_s2.travel"),
            goal: For::Other,
        };
        if piece.length() > 0.0 {
            self.pieces.push(Piece { ..piece });
            // its line is the controller's own, nothing is read
            let block = std::mem::replace(&mut self.block, 0.0);
            self.rest();
            self.block = block;
        }
    }

    fn motion(&mut self, w: &[(char, f64)]) {
        let m = self.machine;
        let offset = match self.head {
            Some(h) if m.word("controller.offsets_applied_by") == "program" => {
                m.list(&format!("offsets_mm.{}", ["matrix", "fibre"][h]))
            }
            _ => vec![0.0; 3],
        };
        if let Some(f) = of(w, 'F') {
            self.speed = f / 60.0;
        }
        let fed = of(w, 'E').map_or(0.0, |e| {
            let step = if self.absolute { e - self.e } else { e };
            self.e += step;
            step
        });
        let mut to = self.at;
        let mut moves = false;
        for (k, letter) in ['X', 'Y', 'Z'].into_iter().enumerate() {
            if let Some(v) = of(w, letter) {
                to[k] = v + offset[k];
                moves = true;
            }
        }
        let acceleration = |which: &str| m.number(&format!("limits.acceleration_mm_s2.{which}"));
        if !moves {
            // tow is fed to the nozzle without a path
            self.rest();
            let piece = Piece {
                from: [0.0; 3],
                to: [fed.abs(), 0.0, 0.0],
                arc: None,
                speed: self.speed,
                acceleration: acceleration("work"),
                goal: For::Fibre,
            };
            self.pieces.push(piece);
            let block = std::mem::replace(&mut self.block, 0.0);
            let axes = std::mem::replace(&mut self.axes, [f64::INFINITY; 3]);
            self.rest();
            (self.block, self.axes) = (block, axes);
            return;
        }
        let arc = (self.motion >= 2.0).then(|| {
            let c = [self.at[0] + of(w, 'I').unwrap_or(0.0), self.at[1] + of(w, 'J').unwrap_or(0.0)];
            let start = libm::atan2(self.at[1] - c[1], self.at[0] - c[0]);
            let end = libm::atan2(to[1] - c[1], to[0] - c[0]);
            let mut turn = end - start;
            if self.motion == 3.0 && turn <= 0.0 {
                turn += std::f64::consts::TAU;
            } else if self.motion == 2.0 && turn >= 0.0 {
                turn -= std::f64::consts::TAU;
            }
            (c, turn)
        });
        let z_only = of(w, 'X').is_none() && of(w, 'Y').is_none();
        let goal = match self.frame {
            _ if self.motion == 0.0 => For::Travel,
            For::Travel => For::Matrix,
            other => other,
        };
        let which = if z_only {
            "z"
        } else if self.motion == 0.0 {
            "travel"
        } else {
            "work"
        };
        let piece =
            Piece { from: self.at, to, arc, speed: self.speed, acceleration: acceleration(which), goal };
        if piece.length() > 0.0 {
            self.pieces.push(piece);
        }
        self.at = to;
        self.known = true;
    }

    /// Runs what has gathered, from rest to rest.
    fn rest(&mut self) {
        let pieces = std::mem::take(&mut self.pieces);
        if pieces.is_empty() {
            return;
        }
        let times = if self.jerk.is_finite() { self.smooth(&pieces) } else { self.march(&pieces) };
        for (p, s) in pieces.iter().zip(times) {
            match p.goal {
                For::Fibre => self.split.fibre += s,
                For::Matrix => self.split.matrix += s,
                For::Travel => self.split.travel += s,
                For::Other => {}
            }
            self.pass(s);
        }
    }

    /// Fastest along each piece, and through each joint.
    fn caps(&self, p: &[Piece]) -> (Vec<f64>, Vec<f64>) {
        let n = p.len();
        let turn = |i: usize| -> f64 {
            if i == 0 || i >= n || p[i - 1].from[2] != p[i - 1].to[2] || p[i].from[2] != p[i].to[2] {
                return 0.0;
            }
            let (a, b) = (p[i - 1].heading(true), p[i].heading(false));
            libm::atan2(a[0] * b[1] - a[1] * b[0], a[0] * b[0] + a[1] * b[1])
        };
        let turns: Vec<f64> = (0..=n).map(turn).collect();
        // the circle through three points, where two chords belong to a bend
        let circle = |i: usize| -> f64 {
            if i == 0 || i >= n || !(1e-9..=0.6).contains(&turns[i].abs()) {
                return f64::INFINITY;
            }
            let on = |k: usize| {
                let ratio = turns[k] / turns[i];
                turns[k].abs() <= 0.6 && ratio >= 0.2
            };
            if !on(i - 1) && !on(i + 1) {
                return f64::INFINITY;
            }
            let chord = |q: &Piece| q.arc.is_none() && q.flat() <= 3.0;
            if !chord(&p[i - 1]) || !chord(&p[i]) {
                return f64::INFINITY;
            }
            let (a, b, c) = (p[i - 1].from, p[i].from, p[i].to);
            let side = |u: [f64; 3], v: [f64; 3]| libm::hypot(u[0] - v[0], u[1] - v[1]);
            let area2 = ((b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])).abs();
            side(a, b) * side(b, c) * side(a, c) / (2.0 * area2)
        };
        let radii: Vec<f64> = (0..=n).map(circle).collect();
        let cruise: Vec<f64> = (0..n)
            .map(|i| {
                let own = p[i]
                    .arc
                    .map_or(f64::INFINITY, |(c, _)| libm::hypot(p[i].from[0] - c[0], p[i].from[1] - c[1]));
                let r = own.min(radii[i]).min(radii[i + 1]);
                let mut v = p[i].speed.min((p[i].acceleration * r).sqrt());
                if self.block > 0.0 {
                    v = v.min(p[i].length() / self.block);
                }
                let h = p[i].heading(false);
                for k in 0..3 {
                    let share = if p[i].arc.is_some() && k < 2 { 1.0 } else { h[k].abs() };
                    if share > 1e-9 {
                        v = v.min(self.axes[k] / share);
                    }
                }
                v
            })
            .collect();
        let mut joints = vec![0.0; n + 1];
        for i in 1..n {
            let (a, b) = (p[i - 1].heading(true), p[i].heading(false));
            let dot: f64 = (0..3).map(|k| a[k] * b[k]).sum();
            // half the angle between the legs, from the cosine of the turn
            let s = ((1.0 + dot.clamp(-1.0, 1.0)) / 2.0).sqrt();
            let acceleration = p[i - 1].acceleration.min(p[i].acceleration);
            let v = if s > 1.0 - 1e-12 {
                f64::INFINITY
            } else {
                (acceleration * self.dev * s / (1.0 - s)).sqrt()
            };
            joints[i] = v.min(cruise[i - 1]).min(cruise[i]);
        }
        (cruise, joints)
    }

    /// Steps of time along each piece: faster, as fast as allowed, or braking for
    /// what comes.
    fn march(&self, p: &[Piece]) -> Vec<f64> {
        let n = p.len();
        let (cruise, mut joints) = self.caps(p);
        // from behind: no joint faster than can be braked from
        for i in (0..n).rev() {
            let v = (joints[i + 1] * joints[i + 1] + 2.0 * p[i].acceleration * p[i].length()).sqrt();
            joints[i] = joints[i].min(v);
        }
        let mut v = 0.0_f64;
        let mut out = Vec::with_capacity(n);
        for i in 0..n {
            let (length, a, end) = (p[i].length(), p[i].acceleration, joints[i + 1]);
            // some hundred steps a piece: at least as long as at full speed
            let step = (length / cruise[i]).max(1e-7) / 150.0;
            let (mut s, mut t) = (0.0, 0.0);
            loop {
                let left = length - s;
                if left <= 2e-3 * length {
                    let after = end.min((v * v + 2.0 * a * left).sqrt()).min(cruise[i]);
                    t += 2.0 * left / (v + after).max((a * left).sqrt());
                    v = after;
                    break;
                }
                // the speed after this step from which the rest is enough to brake
                let most = (end * end + 2.0 * a * left - a * v * step).max(0.0);
                let brake = 0.5 * (((a * step) * (a * step) + 4.0 * most).sqrt() - a * step);
                let next = (v + a * step).min(cruise[i]).min(brake);
                let way = 0.5 * (v + next) * step;
                if way >= left {
                    t += step * left / way;
                    v = next.min(end);
                    break;
                }
                s += way;
                t += step;
                v = next;
            }
            out.push(t);
        }
        out
    }

    /// The same where the acceleration changes only so fast.
    fn smooth(&self, p: &[Piece]) -> Vec<f64> {
        let n = p.len();
        let (cruise, joints) = self.caps(p);
        // one piece while limits stay within a twentieth of those it began with
        let mut groups: Vec<(usize, usize)> = Vec::new();
        let mut from = 0;
        for i in 1..=n {
            let on = i < n
                && p[from].acceleration == p[i].acceleration
                && (cruise[i] / cruise[from] - 1.0).abs() <= 0.05
                && (joints[i] / cruise[from] - 1.0).abs() <= 0.05;
            if !on {
                groups.push((from, i));
                from = i;
            }
        }
        let slowest = |&(a, b): &(usize, usize)| {
            let along = cruise[a..b].iter().chain(&joints[a + 1..b]);
            along.fold(f64::INFINITY, |v, other| v.min(*other))
        };
        let fastest: Vec<f64> = groups.iter().map(slowest).collect();
        let ways: Vec<f64> = groups.iter().map(|&(a, b)| p[a..b].iter().map(Piece::length).sum()).collect();
        let mut speeds: Vec<f64> = groups.iter().map(|&(a, _)| joints[a]).collect();
        speeds.push(0.0);
        for (k, v) in fastest.iter().enumerate() {
            speeds[k] = speeds[k].min(*v);
            speeds[k + 1] = speeds[k + 1].min(*v);
        }
        let most = |v: f64, way: f64, a: f64, high: f64| {
            halved(v, high.max(v), |top| ramp(v, top, a, self.jerk).1 <= way)
        };
        for k in (0..groups.len()).rev() {
            let a = p[groups[k].0].acceleration;
            if speeds[k] > speeds[k + 1] {
                speeds[k] = most(speeds[k + 1], ways[k], a, speeds[k]);
            }
        }
        let mut out = Vec::with_capacity(n);
        for k in 0..groups.len() {
            let (first, last) = groups[k];
            let a = p[first].acceleration;
            if speeds[k + 1] > speeds[k] {
                speeds[k + 1] = most(speeds[k], ways[k], a, speeds[k + 1]);
            }
            let (v0, v1) = (speeds[k], speeds[k + 1]);
            let fits = |top: f64| ramp(v0, top, a, self.jerk).1 + ramp(top, v1, a, self.jerk).1 <= ways[k];
            let top = halved(v0.max(v1), fastest[k], fits);
            let (up, down) = (ramp(v0, top, a, self.jerk), ramp(top, v1, a, self.jerk));
            let t = up.0 + down.0 + (ways[k] - up.1 - down.1).max(0.0) / top.max(1e-9);
            // all of one group is for one goal here, or is shared by length
            for q in &p[first..last] {
                out.push(t * q.length() / ways[k]);
            }
        }
        out
    }
}

/// Largest value that fits, within some millionths.
fn halved(mut low: f64, mut high: f64, fits: impl Fn(f64) -> bool) -> f64 {
    if high <= low || fits(high) {
        return high.max(low);
    }
    for _ in 0..24 {
        let middle = 0.5 * (low + high);
        if fits(middle) {
            low = middle;
        } else {
            high = middle;
        }
    }
    low
}

/// Seconds and way of a change of speed, by stepping its acceleration up, along
/// and down again.
fn ramp(v0: f64, v1: f64, most: f64, jerk: f64) -> (f64, f64) {
    let dv = (v1 - v0).abs();
    if dv <= 0.0 {
        return (0.0, 0.0);
    }
    let sign = (v1 - v0).signum();
    let step = (dv / most).max((dv / jerk).sqrt()) / 60.0;
    let (mut a, mut gained, mut t, mut way) = (0.0_f64, 0.0, 0.0, 0.0);
    // up to the half: what comes after is its mirror image
    while gained < 0.5 * dv {
        let next = (a + jerk * step).min(most);
        let mean = 0.5 * (a + next);
        let share = ((0.5 * dv - gained) / (mean * step)).min(1.0);
        let dt = step * share;
        way += dt * (v0 + sign * (gained + 0.5 * mean * dt));
        gained += mean * dt;
        t += dt;
        a = next;
    }
    // mirrored: the same time, and together the mean of both speeds
    let second = t * v1 - (way - t * v0);
    (2.0 * t, way + second)
}

fn words(line: &str) -> Vec<(char, f64)> {
    let code = line.split(['(', ';']).next().unwrap_or("");
    code.split_whitespace()
        .map(|w| {
            let letter = w.chars().next().expect("a letter");
            (letter, w[letter.len_utf8()..].parse().expect("a number"))
        })
        .collect()
}

fn of(words: &[(char, f64)], letter: char) -> Option<f64> {
    words.iter().find(|(l, _)| *l == letter).map(|(_, n)| *n)
}
