// Faults in the forms that real equipment gives them, thought up after the analysis and apart from it.
#include <algorithm>
#include <cmath>
#include <numbers>

#include "nights/night_maker.hpp"
#include "simulate/random.hpp"

namespace polewright::test {
namespace {

using simulate::Nudge;
using simulate::Random;

constexpr double kSidereal = 7.292115e-5;

double rad_of(const NightPlan& p, double length_px) {
  return length_px / p.scene.lens.focal_px();
}
double end_s(const NightPlan& p) {
  return p.scene.start_s(p.scene.frames);
}
Nudge towards(const NightPlan& p, double length_px, double direction_deg) {
  return {Angle::rad(rad_of(p, length_px)), Angle::deg(direction_deg), Angle()};
}

/// The axis far off, low in the sky where refraction changes fastest, and a ball head that gives a little.
void axis_with_flexure(NightPlan& p, double trail_px, Random& random) {
  const double error = 1.3 * rad_of(p, trail_px) / (kSidereal * p.scene.exposure_s), way = random.uniform(0.0, 6.2832);
  p.scene.mount.altitude_error = Angle::rad(error * std::cos(way));
  p.scene.mount.azimuth_error = Angle::rad(error * std::sin(way) / 0.7);
  p.scene.pointing = simulate::Horizontal{Angle::deg(random.uniform(100.0, 260.0)), Angle::deg(28.0),
                                          Angle::deg(random.uniform(-90.0, 90.0))};
  p.scene.sag = simulate::Sag{towards(p, 0.15 * trail_px * 60.0 / p.scene.exposure_s, random.uniform(0.0, 360.0))};
}

/// Rates that trackers really have beside sidereal, or one that is simply off.
void other_rate(NightPlan& p, double trail_px, Random& random) {
  p.scene.mount.rate_ratio =
      1.0 + (random.uniform() < 0.5 ? 1.0 : -1.0) * rad_of(p, trail_px) / (kSidereal * p.scene.exposure_s);
  p.scene.sag = simulate::Sag{towards(p, 0.05 * trail_px * 60.0 / p.scene.exposure_s, random.uniform(0.0, 360.0))};
}

/// A tooth that catches: slow rise, quick return, as six harmonics of a saw-tooth; or a worm with a strong second.
void toothed_worm(NightPlan& p, double trail_px, Random& random) {
  const double period = random.uniform(300.0, 640.0);
  const bool saw = random.uniform() < 0.5;
  const double fundamental = rad_of(p, trail_px) / (2.0 * std::sin(std::numbers::pi * p.scene.exposure_s / period));
  const double phase = random.uniform(0.0, 360.0);
  p.scene.mount.periodic.clear();
  for (int k = 1; k <= (saw ? 6 : 2); ++k) {
    const double share = saw ? 0.7 / k : (k == 1 ? 0.9 : 0.4);
    p.scene.mount.periodic.push_back(
        {Angle::rad(share * fundamental), period / k, Angle::deg(saw ? k * phase : phase)});
  }
}

/// A handful of gusts of different strength, each a decaying swing of its own frequency.
void gusty(NightPlan& p, double trail_px, Random& random) {
  for (int k = 0; k < 4; ++k) {
    const int frame = 3 + static_cast<int>(random.uniform(0.0, p.scene.frames - 6.0));
    const double begin = p.scene.start_s(frame) + random.uniform(0.0, 0.5) * p.scene.exposure_s;
    p.scene.gusts.push_back({begin, random.uniform(0.3, 3.0), random.uniform(0.1, 0.3) * p.scene.exposure_s,
                             towards(p, trail_px * random.uniform(1.5, 3.0), random.uniform(0.0, 360.0))});
  }
}

/// A clamp that gives way in three jerks within one exposure.
void creeping_slip(NightPlan& p, double length_px, Random& random) {
  const int frame = 6 + static_cast<int>(random.uniform(0.0, p.scene.frames - 12.0));
  const double way = random.uniform(0.0, 360.0);
  for (const double share : {0.15, 0.45, 0.8})
    p.scene.slips.push_back({p.scene.start_s(frame) + share * p.scene.exposure_s, towards(p, length_px / 3.0, way)});
}

/// Fast at first, then a slow tail; starts before the first frame or is set off by a re-tightened clamp.
void two_stage_settling(NightPlan& p, double trail_px, Random& random) {
  const double fast = 2.0 * p.scene.interval_s, slow = 7.0 * p.scene.interval_s, way = random.uniform(0.0, 360.0);
  const double in_fast = 1.0 - std::exp(-p.scene.exposure_s / fast),
               in_slow = 1.0 - std::exp(-p.scene.exposure_s / slow);
  p.scene.settlings = {{0.0, fast, towards(p, 0.5 * trail_px / in_fast, way)},
                       {0.0, slow, towards(p, 0.5 * trail_px / in_slow, way + random.uniform(-40.0, 40.0))}};
}

/// The tube cools in steps as wind comes and goes; focus follows each with a lag.
void focus_steps(NightPlan& p, double growth_px, Random& random) {
  const double end = end_s(p), first = random.uniform(0.25, 0.4) * end, second = random.uniform(0.6, 0.75) * end;
  const auto cooled = [=](double t) {
    const auto lag = [](double since) { return since <= 0.0 ? 0.0 : 1.0 - std::exp(-since / 300.0); };
    return 0.55 * lag(t - first) + 0.45 * lag(t - second);
  };
  p.growth_px = [=](double t) { return growth_px * cooled(t); };
  p.temperature_c = [=](double t) { return std::optional<double>(9.0 - 4.0 * cooled(t)); };
}

/// Dew that creeps in, levels off as a heater is switched on, and does not leave.
void creeping_dew(NightPlan& p, double growth_px, Random& random) {
  const double middle = random.uniform(0.4, 0.6) * end_s(p), width = 0.08 * end_s(p);
  const double light = random.uniform(0.35, 0.7);
  p.growth_px = [=](double t) { return growth_px / (1.0 + std::exp(-(t - middle) / width)); };
  p.dimming_mag = [=](double t) { return light * growth_px / (1.0 + std::exp(-(t - middle) / width)); };
}

/// Patches: some stars vanish, the rest lose light unevenly; several spells of different length.
void patchy_cloud(NightPlan& p, double mag, Random& random) {
  const double end = end_s(p);
  struct Spell {
    double from, to, depth;
  };
  std::vector<Spell> spells;
  for (int k = 0; k < 3; ++k) {
    const double from = random.uniform(0.08, 0.8) * end;
    spells.push_back({from, from + random.uniform(0.04, 0.12) * end, random.uniform(0.6, 1.0)});
  }
  const auto depth = [=](double t) {
    double out = 0.0;
    for (const Spell& s : spells)
      if (t > s.from && t < s.to)
        out = std::max(out, s.depth * std::sin(std::numbers::pi * (t - s.from) / (s.to - s.from)));
    return out;
  };
  p.dimming_mag = [=](double t) { return 0.6 * mag * depth(t); };
  p.hidden_share = [=](double t) { return std::min(0.9, 0.3 * mag * depth(t)); };
}

/// The lens's own pattern, while focus and seeing wander.
void drawn_corners(NightPlan& p, double size_px, Random&) {
  p.aberration_px = size_px;
  p.seeing_drift = 0.08;
}
void leaning_sensor(NightPlan& p, double size_px, Random&) {
  p.tilt_px = size_px;
  p.seeing_drift = 0.08;
}

using Maker = void (*)(NightPlan&, double, Random&);
struct Kind {
  const char* cause;
  Maker maker;
};
constexpr Kind kKinds[] = {{"axis misalignment", axis_with_flexure},
                           {"tracking rate", other_rate},
                           {"periodic error", toothed_worm},
                           {"gust or knock", gusty},
                           {"slip", creeping_slip},
                           {"settling", two_stage_settling},
                           {"defocus", focus_steps},
                           {"dew", creeping_dew},
                           {"clouds", patchy_cloud},
                           {"lens aberration", drawn_corners},
                           {"tilt", leaning_sensor}};

/// What every night has besides: frames missing, a rough clock, slow seeing, outliers, the air's extinction.
NightPlan rough_night(double focal_mm, double exposure_s, int frames, std::uint64_t seed) {
  NightPlan p = clean_night(focal_mm, exposure_s, frames, seed);
  Random random(seed, 31);
  p.seeing_drift = random.uniform(0.0, 0.06);
  p.outlier_share = random.uniform(0.0, 0.05);
  p.whole_seconds = random.uniform() < 0.7;
  if (random.uniform() < 0.4) p.clock_jump_at = static_cast<int>(random.uniform(5.0, frames - 5.0));
  for (int i = 1; i < frames; ++i)
    if (random.uniform() < 0.06) p.missing.push_back(i);
  if (random.uniform() < 0.4)  // a block of another exposure in between
    for (int i = frames / 2, n = 3 + static_cast<int>(random.uniform(0.0, 4.0)); n-- > 0; ++i) p.missing.push_back(i);
  if (random.uniform() < 0.3) p.red_wander_px = 0.1;
  return p;
}

}  // namespace

std::vector<NightPlan> twisted_nights(std::uint64_t other_seeds) {
  std::vector<NightPlan> out;
  const double focal[] = {24, 50, 85, 135, 200, 300}, exposure[] = {30, 60, 120};
  std::uint64_t seed = 90000 + other_seeds;
  int turn = 0;
  for (const Kind& kind : kKinds)
    for (const double strength : {1.5, 2.2, 3.5, 5.0, 7.0, 10.0}) {
      NightPlan p = rough_night(focal[turn % 6], exposure[(turn / 2) % 3], 45 + turn % 13, ++seed);
      ++turn;
      p.name = kind.cause;
      p.causes = {kind.cause};
      Random random(seed, 57);
      kind.maker(p, strength, random);
      out.push_back(p);
    }
  for (int i = 0; i < 30; ++i) {
    // Two hours at most, near the meridian: low in the west refraction alone trails the stars.
    const double each = exposure[(i / 6) % 3];
    NightPlan p =
        rough_night(focal[i % 6], each, std::min(30 + 2 * i, static_cast<int>(7200.0 / (each + 5.0))), ++seed);
    p.name = "rough";
    p.scene.pointing = simulate::Horizontal{Angle::deg(150.0 + 2.0 * i), Angle::deg(55.0), Angle::deg(12.0 * i)};
    // A head that gives by a sixth of a pixel in an exposure is nothing to see.
    p.scene.sag = simulate::Sag{towards(p, 0.15 * 60.0 / p.scene.exposure_s, 40.0 * i)};
    out.push_back(p);
  }
  return out;
}

}  // namespace polewright::test
