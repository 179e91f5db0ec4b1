//! The winch: how fast the tool can move, and how it stops where it should.

use super::Lever;

/// How fast the tool's speed can change, mm/s².
const ACCELERATION: f64 = 1_200.0;
const STEP_S: f64 = 0.001;

/// The tool on its rope or kelly.
#[derive(Clone, Debug)]
pub struct Winch {
    /// The tip, below the hub, mm.
    pub tip_mm: f64,
    speed_mm_s: f64,
}

impl Winch {
    /// At rest.
    pub fn at(tip_mm: f64) -> Self {
        Self { tip_mm, speed_mm_s: 0.0 }
    }

    /// Another tool: the tip is elsewhere at once.
    pub fn shift(&mut self, by_mm: f64) {
        self.tip_mm += by_mm;
    }

    /// Where the tip would be a millisecond later with nothing in its way.
    pub fn reach(&mut self, lever: Lever) -> f64 {
        let (target, most) = match lever {
            Lever::Stop => (self.tip_mm, 0.0),
            Lever::To { depth_mm, speed_mm_s } => (depth_mm, speed_mm_s),
        };
        let way = target - self.tip_mm;
        // No faster than it can stop within what is left of the way after this step.
        let step = ACCELERATION * STEP_S;
        let wanted = way.signum() * most.min((step * step + 2.0 * ACCELERATION * way.abs()).sqrt() - step);
        let change = (wanted - self.speed_mm_s).clamp(-step, step);
        self.speed_mm_s += change;
        let step = self.speed_mm_s * STEP_S;
        // What is left is less than rounding makes of it: it is there.
        if matches!(lever, Lever::To { .. }) && step.abs() + 1e-9 >= way.abs() && step * way >= 0.0 {
            return target;
        }
        self.tip_mm + step
    }

    /// The tip came only so far.
    pub fn arrive(&mut self, tip_mm: f64) {
        // What stopped the tip took its speed.
        self.speed_mm_s = (tip_mm - self.tip_mm) / STEP_S;
        self.tip_mm = tip_mm;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Runs and returns the greatest speed, mm/s, and the greatest change of it, mm/s².
    fn run(winch: &mut Winch, lever: Lever, ms: u32) -> (f64, f64) {
        let (mut fastest, mut hardest) = (0.0_f64, 0.0_f64);
        for _ in 0..ms {
            let (before, speed) = (winch.tip_mm, winch.speed_mm_s);
            let tip = winch.reach(lever);
            winch.arrive(tip);
            fastest = fastest.max((winch.tip_mm - before).abs() / STEP_S);
            hardest = hardest.max((winch.speed_mm_s - speed).abs() / STEP_S);
        }
        (fastest, hardest)
    }

    #[test]
    fn it_arrives_exactly_and_stays() {
        let mut winch = Winch::at(-400.0);
        let lever = Lever::To { depth_mm: 3_150.0, speed_mm_s: 700.0 };
        let (fastest, hardest) = run(&mut winch, lever, 8_000);
        assert_eq!(winch.tip_mm, 3_150.0);
        assert!(fastest <= 700.0 + 1e-6, "{fastest}");
        // The last millisecond takes what little speed is left, more than the rest of the way.
        assert!(hardest <= 2.5 * ACCELERATION, "{hardest}");
        run(&mut winch, Lever::Stop, 1_000);
        assert_eq!(winch.tip_mm, 3_150.0);
    }

    #[test]
    fn a_stopped_lever_stops_the_tool_within_its_stopping_distance() {
        let mut winch = Winch::at(0.0);
        run(&mut winch, Lever::To { depth_mm: 5_000.0, speed_mm_s: 600.0 }, 2_000);
        let at = winch.tip_mm;
        run(&mut winch, Lever::Stop, 2_000);
        // v²/2a = 150 mm (kinematics)
        assert!((winch.tip_mm - at - 150.0).abs() < 2.0, "{}", winch.tip_mm - at);
        let rest = winch.tip_mm;
        run(&mut winch, Lever::Stop, 1_000);
        assert_eq!(winch.tip_mm, rest);
    }
}
