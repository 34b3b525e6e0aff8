// The sequence analysis on time series made by hand: what went in must come out, and nothing else.
#include <catch2/catch.hpp>
#include <cmath>
#include <numbers>
#include <random>

#include "polewright/diagnose.hpp"

using namespace polewright;

namespace {

constexpr double kNoise_px = 0.1;

NightField field_with_pole() {
  NightField field;
  field.width_px = 6000;
  field.height_px = 4000;
  field.focal_px = 34615.0;  // 135 mm, 3.9 µm
  field.pole = Vec<Camera>{0.0, 0.8, 0.6};
  return field;
}

/// Frames of 60 s every 65 s, lying at the given displacement (px, px, roll in rad) plus noise, trails measured from
/// the same motion.
template <class Path>
std::vector<NightFrame> frames_along(const Path& path, int count, double noise_px = kNoise_px) {
  std::mt19937 engine(7);
  std::normal_distribution<double> normal;
  std::vector<NightFrame> out;
  for (int i = 0; i < count; ++i) {
    NightFrame f;
    f.time_s = 65.0 * i;
    f.exposure_s = 60.0;
    f.stars = 300;
    f.fwhm_px = 2.4 + 0.03 * normal(engine);
    f.dimming_mag = 0.01 * normal(engine);
    const auto [x, y, roll] = path(*f.time_s);
    f.place = FieldPlace{x + noise_px * normal(engine), y + noise_px * normal(engine), roll, 0.02, 1e-6};
    const auto from = path(*f.time_s - 30.0), to = path(*f.time_s + 30.0);
    const double tx = to[0] - from[0], ty = to[1] - from[1];
    f.trail = MeasuredTrail{tx, ty, {0.01, 0.0, 0.01}, 0.0, std::hypot(tx, ty), 0.1};
    out.push_back(f);
  }
  return out;
}

using Place = std::array<double, 3>;

}  // namespace

TEST_CASE("a still field has no cause and sharp frames") {
  const NightDiagnosis d = diagnose_night(frames_along([](double) { return Place{0, 0, 0}; }, 40), field_with_pole());
  CHECK(d.causes.empty());
  CHECK_FALSE(d.drift);
  CHECK(d.periodic.empty());
  CHECK(d.steps.empty());
  for (const FrameFinding& f : d.frames) CHECK(f.verdict == Verdict::sharp);
}

TEST_CASE("periodic error: period within 2 %, amplitude within 8 % at three times the noise and three cycles") {
  // The limits are those the analysis is required to keep; the amplitude's own uncertainty at 3 σ and 40 frames is 7 %.
  const double period = 480.0, amplitude = 3.0 * kNoise_px;
  for (const int frames : {24, 40}) {
    const auto path = [&](double t) {
      return Place{amplitude * std::sin(2.0 * std::numbers::pi * t / period + 0.7), 0.0, 0.0};
    };
    NightField field = field_with_pole();
    field.pole = Vec<Camera>{0.0, 1.0, 0.0};  // turns the field along x
    const NightDiagnosis d = diagnose_night(frames_along(path, frames), field);
    REQUIRE(d.periodic.size() == 1);
    // Montgomery and O'Donoghue 1999: 24 frames over 3.2 cycles at this strength know the period to 1.6 % (1σ) at best,
    // so there three of the stated sigmas are allowed; 40 frames over 5.4 cycles know it to 0.8 %.
    const double allowed = frames == 24 ? std::max(0.02 * period, 3.0 * d.periodic[0].period_sigma_s) : 0.02 * period;
    CHECK(std::abs(d.periodic[0].period_s - period) < allowed);
    // The places here are those of mid-exposure; an average over 60 s would be 2.5 % smaller, which the analysis
    // undoes.
    const double smeared = std::sin(std::numbers::pi * 60.0 / period) / (std::numbers::pi * 60.0 / period);
    const double sigma = d.periodic[0].amplitude_sigma_px;
    CHECK(std::abs(d.periodic[0].amplitude_px * smeared - amplitude) < std::max(0.08 * amplitude, 2.0 * sigma));
    CHECK(d.periodic[0].false_alarm < 1e-3);
    CHECK(*d.periodic[0].amplitude_arcsec == Approx(d.periodic[0].amplitude_px * 206264.8 / 34615.0).epsilon(1e-6));
  }
}

TEST_CASE("a step is found where it is, and stays a slip") {
  const auto path = [](double t) { return t < 65.0 * 17.5 ? Place{0, 0, 0} : Place{4.0, -3.0, 0.0}; };
  const NightDiagnosis d = diagnose_night(frames_along(path, 40), field_with_pole());
  REQUIRE(d.steps.size() == 1);
  CHECK(d.steps[0].after_frame == 17);
  // Means over 18 and 22 frames of 0.1 px differ by 0.03 px (1σ); four of them.
  CHECK(d.steps[0].x_px == Approx(4.0).margin(0.13));
  CHECK(d.steps[0].y_px == Approx(-3.0).margin(0.13));
  CHECK(d.steps[0].kind == StepKind::slip);
  REQUIRE(d.causes.size() == 1);
  CHECK(d.causes[0].cause == "slip");
}

TEST_CASE("drift splits into axis and rate by the exact inversion") {
  // Ω = σω(p − r m): a pure rate error turns about the pole itself, an axis error across it.
  const NightField field = field_with_pole();
  const double w = 7.292115146706979e-5;
  const auto drifting = [&](Vec<Camera> star_turn_per_s) {
    return [=, &field](double t) {
      return Place{*field.focal_px * star_turn_per_s.y * t, -*field.focal_px * star_turn_per_s.x * t,
                   star_turn_per_s.z * t};
    };
  };
  SECTION("rate 0.995") {
    const NightDiagnosis d = diagnose_night(frames_along(drifting(*field.pole * (-0.005 * w)), 40), field);
    REQUIRE(d.drift);
    CHECK(*d.drift->rate_ratio == Approx(0.995).margin(4.0 * *d.drift->rate_sigma));
    REQUIRE_FALSE(d.causes.empty());
    CHECK(d.causes[0].cause == "tracking rate");
  }
  SECTION("axis 20 arcminutes off") {
    const double off = Angle::arcmin(20).rad();
    const NightDiagnosis d = diagnose_night(frames_along(drifting(Vec<Camera>{off * w, 0.0, 0.0}), 40), field);
    REQUIRE(d.drift);
    // The sagitta of 43 minutes of turn and the second order of 20′ stay below 1 %.
    CHECK(d.drift->axis_offset->arcmin() == Approx(20.0).epsilon(0.02));
    REQUIRE_FALSE(d.causes.empty());
    CHECK(d.causes[0].cause == "axis misalignment");
  }
  SECTION("not tracking, the stars not identified") {
    NightField blind = field;
    blind.pole.reset();
    const NightDiagnosis d = diagnose_night(frames_along(drifting(*field.pole * -w), 20), blind);
    REQUIRE_FALSE(d.causes.empty());
    CHECK(d.causes[0].cause == "not tracking");
  }
  SECTION("axis off, the stars not identified: no cause is invented") {
    NightField blind = field;
    blind.pole.reset();
    const NightDiagnosis d = diagnose_night(frames_along(drifting(Vec<Camera>{0.02 * w, 0.0, 0.0}), 40), blind);
    REQUIRE_FALSE(d.causes.empty());
    CHECK(d.causes[0].cause == "unexplained");
  }
}

TEST_CASE("wander that is alike from frame to frame is no event") {
  // A random walk held by a weak spring, as wind and air make it; common practice, no source.
  std::mt19937 engine(11);
  std::normal_distribution<double> normal;
  int invented = 0;
  for (int night = 0; night < 20; ++night) {
    double x = 0.0, y = 0.0;
    std::vector<NightFrame> frames = frames_along([](double) { return Place{0, 0, 0}; }, 50);
    for (NightFrame& f : frames) {
      x = 0.9 * x + 0.1 * normal(engine);
      y = 0.9 * y + 0.1 * normal(engine);
      f.place->x_px += x;
      f.place->y_px += y;
    }
    invented += diagnose_night(frames, field_with_pole()).causes.empty() ? 0 : 1;
  }
  CHECK(invented == 0);
}

TEST_CASE("width, light and clouds") {
  const auto still = [](double) { return Place{0, 0, 0}; };
  std::vector<NightFrame> frames = frames_along(still, 40);
  SECTION("focus drifts: wider, no light lost") {
    for (std::size_t i = 20; i < 40; ++i) *frames[i].fwhm_px += 0.15 * static_cast<double>(i - 20);
    const NightDiagnosis d = diagnose_night(frames, field_with_pole());
    REQUIRE(d.causes.size() == 1);
    CHECK(d.causes[0].cause == "defocus");
    CHECK(d.frames.back().verdict == Verdict::soft);
    CHECK(d.frames.front().verdict == Verdict::sharp);
  }
  SECTION("dew: wider and dimmer together") {
    for (std::size_t i = 20; i < 40; ++i) {
      *frames[i].fwhm_px += 0.15 * static_cast<double>(i - 20);
      *frames[i].dimming_mag += 0.06 * static_cast<double>(i - 20);
    }
    const NightDiagnosis d = diagnose_night(frames, field_with_pole());
    REQUIRE_FALSE(d.causes.empty());
    CHECK(d.causes[0].cause == "dew");
  }
  SECTION("dew that takes nearly all stars in the end") {
    for (std::size_t i = 20; i < 40; ++i) {
      *frames[i].fwhm_px += 0.2 * static_cast<double>(i - 20);
      *frames[i].dimming_mag += 0.08 * static_cast<double>(i - 20);
      frames[i].stars = 300 - static_cast<int>(16 * (i - 20));
    }
    for (std::size_t i = 34; i < 40; ++i) {
      frames[i].stars = 5;
      frames[i].dimming_mag.reset();
      frames[i].place.reset();
      frames[i].trail.reset();
    }
    const NightDiagnosis d = diagnose_night(frames, field_with_pole());
    CHECK(d.frames[36].cause == "dew");
  }
  SECTION("clouds: stars go and come back, their width stays") {
    for (std::size_t i = 15; i < 22; ++i) {
      frames[i].stars = 40;
      frames[i].dimming_mag = 1.8;
    }
    const NightDiagnosis d = diagnose_night(frames, field_with_pole());
    REQUIRE(d.causes.size() == 1);
    CHECK(d.causes[0].cause == "clouds");
    CHECK(d.frames[18].verdict == Verdict::unusable);
    CHECK(d.frames[18].cause == "clouds");
  }
  SECTION("daylight is unusable without a cause") {
    frames[39].spoiled = true;
    const NightDiagnosis d = diagnose_night(frames, field_with_pole());
    CHECK(d.frames[39].verdict == Verdict::unusable);
    CHECK_FALSE(d.frames[39].cause);
    CHECK(d.causes.empty());
  }
}

TEST_CASE("one smeared frame is a gust, a spell of them is not explained away") {
  std::vector<NightFrame> frames = frames_along([](double) { return Place{0, 0, 0}; }, 40);
  const auto smear = [&](std::size_t i) {
    frames[i].trail = MeasuredTrail{3.0, 4.0, {0.01, 0.0, 0.01}, 0.0, 5.0, 0.1};
  };
  SECTION("one") {
    smear(12);
    const NightDiagnosis d = diagnose_night(frames, field_with_pole());
    CHECK(d.frames[12].verdict == Verdict::trailed);
    CHECK(d.frames[12].cause == "gust or knock");
  }
  SECTION("the last frame: whether the pointing returned is not known") {
    smear(39);
    CHECK(diagnose_night(frames, field_with_pole()).frames[39].cause == "unexplained");
  }
  SECTION("eight in a row") {
    for (std::size_t i = 12; i < 20; ++i) smear(i);
    CHECK(diagnose_night(frames, field_with_pole()).frames[15].cause == "unexplained");
  }
}

TEST_CASE("the longest sharp exposure counts the steady motion, not a gust") {
  // 3 px a minute along x: a pixel in 20 s, whatever a gust does to one frame.
  const auto path = [](double t) { return Place{0.05 * t, 0, 0}; };
  std::vector<NightFrame> frames = frames_along(path, 40);
  NightDiagnosis d = diagnose_night(frames, field_with_pole());
  REQUIRE(d.longest_sharp_s);
  // 40 places of 0.1 px over 42 minutes know the drift to 0.1 %; the search stops at a four-thousandth of 60 s.
  CHECK(*d.longest_sharp_s == Approx(20.0).epsilon(0.02));
  CHECK(*d.saved_by_longest == Approx(1.0));
  CHECK(*d.saved_by_half == Approx(0.0));
  frames[12].trail = MeasuredTrail{12.0, 16.0, {0.01, 0.0, 0.01}, 0.0, 20.0, 0.1};
  d = diagnose_night(frames, field_with_pole());
  CHECK(*d.longest_sharp_s == Approx(20.0).epsilon(0.02));
  CHECK(*d.saved_by_longest == Approx(39.0 / 40.0));
  SECTION("a gust on a still night: no exposure to recommend") {
    frames = frames_along([](double) { return Place{0, 0, 0}; }, 40);
    frames[12].trail = MeasuredTrail{3.0, 4.0, {0.01, 0.0, 0.01}, 0.0, 5.0, 0.1};
    CHECK_FALSE(diagnose_night(frames, field_with_pole()).longest_sharp_s);
  }
}

TEST_CASE("frames beside an accident are laid to it where the evidence is there") {
  std::vector<NightFrame> frames = frames_along([](double) { return Place{0, 0, 0}; }, 40);
  const auto smear = [&](std::size_t i, double px) {
    frames[i].trail = MeasuredTrail{px, 0.0, {0.01, 0.0, 0.01}, 0.0, px, 0.1};
  };
  SECTION("the swing of a gust reaches into the next exposure") {
    smear(12, 6.0);
    smear(13, 1.2);
    const NightDiagnosis d = diagnose_night(frames, field_with_pole());
    CHECK(d.frames[12].cause == "gust or knock");
    CHECK(d.frames[13].cause == "gust or knock");
  }
  SECTION("the frame during which the clamp slipped cannot be placed and has lost its stars") {
    for (std::size_t i = 20; i < 40; ++i) frames[i].place->x_px += 9.0;
    frames[19].place.reset();
    frames[19].trail.reset();
    frames[19].dimming_mag.reset();
    frames[19].stars = 90;
    const NightDiagnosis d = diagnose_night(frames, field_with_pole());
    CHECK(d.frames[19].verdict == Verdict::unusable);
    CHECK(d.frames[19].cause == "slip");
  }
  SECTION("the same frame without a leap is left unexplained") {
    frames[19].place.reset();
    frames[19].trail.reset();
    frames[19].stars = 90;
    frames[19].dimming_mag = 0.1;
    CHECK(diagnose_night(frames, field_with_pole()).frames[19].cause == "unexplained");
  }
}

TEST_CASE("few or no frames") {
  const NightDiagnosis alone = diagnose_night(frames_along(
                                                  [](double) {
                                                    return Place{0, 0, 0};
                                                  },
                                                  1),
                                              field_with_pole());
  REQUIRE(alone.frames.size() == 1);
  CHECK(alone.frames[0].verdict == Verdict::sharp);
  CHECK(diagnose_night({}, field_with_pole()).causes.empty());
  const auto frames = frames_along([](double t) { return Place{0.01 * t, 0, 0}; }, 3);
  const NightDiagnosis d = diagnose_night(frames, field_with_pole());
  CHECK(d.periodic.empty());
  CHECK(d.steps.empty());
  CHECK(d.frames.size() == 3);
}

TEST_CASE("options name the value and the constraint") {
  NightOptions options;
  CHECK_FALSE(options.validate());
  options.tolerance_px = 0.0;
  REQUIRE(options.validate());
  CHECK(options.validate()->found.find("tolerance_px") != std::string::npos);
}
