#include <algorithm>
#include <cmath>
#include <numbers>

#include "nights/night_maker.hpp"
#include "simulate/random.hpp"

namespace polewright::test {
namespace {

using simulate::Nudge;

double px(const NightPlan& p, double length_px) {
  return length_px / p.scene.lens.focal_px();
}

double middle_s(const NightPlan& p) {
  return p.scene.start_s(p.scene.frames / 2);
}

/// An axis this far off makes a trail of about `trail_px` in one exposure (ω·E·t at most).
void tilt_axis(NightPlan& p, double trail_px) {
  const double error = px(p, trail_px) / (7.292e-5 * p.scene.exposure_s) * 1.2;
  p.scene.mount.altitude_error = Angle::rad(0.75 * error);
  p.scene.mount.azimuth_error = Angle::rad(0.75 * error);
}
void wrong_rate(NightPlan& p, double trail_px) {
  p.scene.mount.rate_ratio = 1.0 - px(p, trail_px) / (7.292e-5 * p.scene.exposure_s);
}
/// A worm whose fastest moment makes a trail of `trail_px` in one exposure.
void worm(NightPlan& p, double trail_px, double period_s) {
  const double swing = px(p, trail_px) / (2.0 * std::sin(std::numbers::pi * p.scene.exposure_s / period_s));
  p.scene.mount.periodic = {{Angle::rad(swing), period_s, Angle::deg(40)}};
}
Nudge nudge(const NightPlan& p, double length_px) {
  return {Angle::rad(px(p, length_px)), Angle::deg(35), Angle()};
}

void gust(NightPlan& p, double trail_px) {
  // A swing of ±a dying with 5 s leaves an equivalent trail of roughly a.
  p.scene.gusts = {{middle_s(p) + 0.1 * p.scene.exposure_s, 0.6, 0.25 * p.scene.exposure_s, nudge(p, 2.0 * trail_px)}};
}
void slip(NightPlan& p, double trail_px) {
  p.scene.slips = {{middle_s(p) + 0.5 * p.scene.exposure_s, nudge(p, trail_px / std::sqrt(3.0))}};
}
void settle(NightPlan& p, double trail_px) {
  const double decay = 4.0 * p.scene.interval_s, first = 1.0 - std::exp(-p.scene.exposure_s / decay);
  p.scene.settlings = {{0.0, decay, nudge(p, trail_px / first)}};
}
void defocus(NightPlan& p, double growth_px) {
  const double end = p.scene.start_s(p.scene.frames);
  p.growth_px = [=](double t) { return growth_px * std::max(0.0, t / end - 0.3) / 0.7; };
}
void dew(NightPlan& p, double growth_px) {
  const double end = p.scene.start_s(p.scene.frames);
  p.growth_px = [=](double t) { return growth_px * std::max(0.0, t / end - 0.3) / 0.7; };
  p.dimming_mag = [=](double t) { return 0.5 * growth_px * std::max(0.0, t / end - 0.3) / 0.7; };
}
void clouds(NightPlan& p, double mag) {
  const double end = p.scene.start_s(p.scene.frames);
  p.dimming_mag = [=](double t) {
    return mag *
           (std::exp(-std::pow((t / end - 0.4) / 0.08, 2)) + 0.7 * std::exp(-std::pow((t / end - 0.75) / 0.05, 2)));
  };
}

NightPlan named(const char* name, double focal_mm, double exposure_s, std::uint64_t seed) {
  NightPlan p = clean_night(focal_mm, exposure_s, 40, seed);
  p.name = name;
  p.causes = {name};
  return p;
}

using Maker = void (*)(NightPlan&, double);
void worm480(NightPlan& p, double trail_px) {
  worm(p, trail_px, 480.0);
}
void aberrate(NightPlan& p, double size_px) {
  p.aberration_px = size_px;
}
void tilt_sensor(NightPlan& p, double size_px) {
  p.tilt_px = size_px;
}
void stop(NightPlan& p, double) {
  p.scene.mount.rate_ratio = 0.0;
}
void reverse(NightPlan& p, double) {
  p.scene.mount.rate_ratio = -1.0;
}

struct Kind {
  const char* cause;
  Maker maker;
};
constexpr Kind kKinds[] = {{"axis misalignment", tilt_axis},
                           {"tracking rate", wrong_rate},
                           {"periodic error", worm480},
                           {"gust or knock", gust},
                           {"slip", slip},
                           {"settling", settle},
                           {"defocus", defocus},
                           {"dew", dew},
                           {"lens aberration", aberrate},
                           {"tilt", tilt_sensor},
                           {"clouds", clouds}};

void add_alone(std::vector<NightPlan>& out, std::uint64_t other_seeds) {
  const double focal[] = {24, 50, 135, 300};
  const double strength[] = {1.4, 3.0, 8.0};
  std::uint64_t seed = 1000 + other_seeds;
  int turn = 0;
  for (const Kind& kind : kKinds)
    for (const double s : strength) {
      NightPlan p = named(kind.cause, focal[turn++ % 4], 60.0, ++seed);
      kind.maker(p, s);
      out.push_back(p);
    }
  for (const auto& [cause, maker] : {Kind{"not tracking", stop}, Kind{"reversed tracking", reverse}})
    for (const double exposure : {4.0, 8.0, 20.0}) {
      NightPlan p = named(cause, turn++ % 2 == 0 ? 24 : 50, exposure, ++seed);
      maker(p, 0.0);
      out.push_back(p);
    }
}

/// The first of each pair spoils clearly more frames, or spoils them more.
void add_pairs(std::vector<NightPlan>& out, std::uint64_t other_seeds) {
  struct Pair {
    Kind first;
    double first_px;
    Kind second;
    double second_px;
  };
  const Pair pairs[] = {
      {{"axis misalignment", tilt_axis}, 4, {"periodic error", worm480}, 1.5},
      {{"periodic error", worm480}, 5, {"axis misalignment", tilt_axis}, 0.8},
      {{"axis misalignment", tilt_axis}, 3, {"gust or knock", gust}, 8},
      {{"axis misalignment", tilt_axis}, 3, {"slip", slip}, 8},
      {{"tracking rate", wrong_rate}, 4, {"axis misalignment", tilt_axis}, 1.2},
      {{"axis misalignment", tilt_axis}, 4, {"tracking rate", wrong_rate}, 1.2},
      {{"periodic error", worm480}, 4, {"gust or knock", gust}, 8},
      {{"periodic error", worm480}, 4, {"slip", slip}, 10},
      {{"settling", settle}, 8, {"axis misalignment", tilt_axis}, 0.4},
      {{"axis misalignment", tilt_axis}, 3, {"settling", settle}, 3},
      {{"defocus", defocus}, 5, {"gust or knock", gust}, 6},
      {{"clouds", clouds}, 4, {"gust or knock", gust}, 6},
      {{"axis misalignment", tilt_axis}, 4, {"clouds", clouds}, 3},
      {{"dew", dew}, 5, {"slip", slip}, 8},
      {{"axis misalignment", tilt_axis}, 4, {"lens aberration", aberrate}, 2},
      {{"lens aberration", aberrate}, 3, {"gust or knock", gust}, 6},
      {{"defocus", defocus}, 6, {"periodic error", worm480}, 0.7},
      {{"periodic error", worm480}, 5, {"tilt", tilt_sensor}, 1.5},
  };
  const double focal[] = {50, 135, 24, 300};
  std::uint64_t seed = 3000 + other_seeds;
  int turn = 0;
  for (const Pair& pair : pairs) {
    NightPlan p = named(pair.first.cause, focal[turn++ % 4], 60.0, ++seed);
    p.name = std::string(pair.first.cause) + " + " + pair.second.cause;
    p.causes.push_back(pair.second.cause);
    pair.first.maker(p, pair.first_px);
    pair.second.maker(p, pair.second_px);
    out.push_back(p);
  }
}

}  // namespace

NightPlan clean_night(double focal_mm, double exposure_s, int frames, std::uint64_t seed) {
  simulate::Random random(seed, 7);
  NightPlan p;
  p.name = "clean";
  p.seed = seed;
  p.scene.site = {Angle::deg(random.uniform() < 0.2 ? -33.0 : 46.0), Angle::deg(10.0), 1500.0};
  p.scene.first_start = UtcTime::from_calendar({2026, 8, 12, 20, 30, 0.0});
  p.scene.frames = frames;
  p.scene.exposure_s = exposure_s;
  p.scene.interval_s = exposure_s + 5.0;
  p.scene.lens.focal_mm = focal_mm;
  p.scene.lens.width_px = 6000;
  p.scene.lens.height_px = 4000;
  p.scene.pointing =
      simulate::Horizontal{Angle::deg(random.uniform(100.0, 260.0)), Angle::deg(random.uniform(40.0, 65.0)),
                           Angle::deg(random.uniform(-90.0, 90.0))};
  // A well set up mount: what is left stays below a third of a pixel per exposure at any of the focal lengths.
  const double error = 0.25 * 3.9e-3 / focal_mm / (7.292e-5 * exposure_s);
  p.scene.mount.altitude_error = Angle::rad(std::min(error, 6e-3) * random.uniform(-0.7, 0.7));
  p.scene.mount.azimuth_error = Angle::rad(std::min(error, 6e-3) * random.uniform(-0.7, 0.7));
  p.scene.mount.periodic = {{Angle::arcsec(0.5), 480.0, Angle::deg(random.uniform(0.0, 360.0))}};
  p.wander_px = random.uniform(0.03, 0.15);
  p.fwhm_px = random.uniform(1.9, 3.2);
  return p;
}

/// Nights that are clean and yet restless: wander alike from frame to frame, dithering, few frames.
NightPlan restless_night(int i, std::uint64_t other_seeds) {
  const double focal[] = {24, 50, 85, 135, 200, 300};
  NightPlan p = clean_night(focal[i % 6], 60.0, i % 2 == 0 ? 14 : 60, 7000u + other_seeds + static_cast<unsigned>(i));
  p.name = "restless";
  if (i % 3 == 0) p.red_wander_px = 0.3;
  if (i % 3 == 1) p.dither_px = 8.0;
  if (i % 3 == 2) p.wander_px = 0.5;
  return p;
}

std::vector<NightPlan> labelled_nights(int clean_count, std::uint64_t other_seeds) {
  std::vector<NightPlan> out;
  add_alone(out, other_seeds);
  add_pairs(out, other_seeds);
  const double focal[] = {24, 50, 85, 135, 200, 300};
  const double exposure[] = {20, 60, 120};
  for (int i = 0; i < clean_count; ++i)
    out.push_back(clean_night(focal[i % 6], exposure[(i / 6) % 3], 40 + 3 * (i % 7),
                              5000u + other_seeds + static_cast<unsigned>(i)));
  for (int i = 0; i < clean_count / 2; ++i) out.push_back(restless_night(i, other_seeds));
  return out;
}

}  // namespace polewright::test
