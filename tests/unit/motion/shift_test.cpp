#include <catch2/catch.hpp>
#include <cmath>
#include <random>

#include "polewright/motion.hpp"

using namespace polewright;

namespace {

struct Made {
  StarList a, b;
};

/// Two frames of one star field: `common` stars moved rigidly, and strangers of their own in each.
Made make(int stars, double stranger_share, Angle roll, double dx, double dy, double noise_px, std::uint64_t seed) {
  std::mt19937_64 random(seed);
  std::uniform_real_distribution<double> unit(0.0, 1.0);
  std::normal_distribution<double> normal(0.0, noise_px);
  Made m;
  for (StarList* l : {&m.a, &m.b}) l->width = 6000, l->height = 4000;
  const auto add = [&](StarList& l, double x, double y) {
    if (x < 0 || y < 0 || x > l.width - 1 || y > l.height - 1) return;
    Star s;
    s.position = {x + normal(random), y + normal(random)};
    s.position_cov = {noise_px * noise_px, 0.0, noise_px * noise_px};
    l.stars.push_back(s);
  };
  // Stars cover more than the frame so that the motion brings new ones in; brightest first in both, strangers mixed in.
  const double cx = 2999.5, cy = 1999.5;
  while (static_cast<int>(m.a.stars.size()) < stars) {
    if (unit(random) < stranger_share) {
      add(unit(random) < 0.5 ? m.a : m.b, unit(random) * 5999, unit(random) * 3999);
      continue;
    }
    const double x = -6000 + 18000 * unit(random), y = -4000 + 12000 * unit(random);
    add(m.a, x, y);
    add(m.b, cx + cos(roll) * (x - cx) - sin(roll) * (y - cy) + dx,
        cy + sin(roll) * (x - cx) + cos(roll) * (y - cy) + dy);
  }
  return m;
}

}  // namespace

TEST_CASE("shift and roll come back, from nothing to half a frame") {
  std::uint64_t seed = 1;
  for (const auto& [roll_deg, dx, dy] : {std::array{0.0, 0.0, 0.0},
                                         {0.01, 3.2, -1.7},
                                         {-2.0, 300.0, 120.0},
                                         {5.0, -1200.0, 900.0},
                                         {8.0, 3000.0, 0.0},
                                         {-3.0, 100.0, -2000.0}}) {
    const Made m = make(400, 0.0, Angle::deg(roll_deg), dx, dy, 0.1, seed++);
    const auto shift = shift_between(m.a, m.b);
    INFO(roll_deg << " " << dx << " " << dy);
    REQUIRE(shift);
    // Five sigmas of the fit's own statement; chance of a false alarm below 1e-5 over the test.
    CHECK(shift->shift_x_px == Approx(dx).margin(5.0 * std::sqrt(shift->shift_cov.xx)));
    CHECK(shift->shift_y_px == Approx(dy).margin(5.0 * std::sqrt(shift->shift_cov.yy)));
    CHECK(shift->roll.rad() == Approx(Angle::deg(roll_deg).rad()).margin(5.0 * shift->roll_sigma_rad));
    // Both places carry 0.1 px.
    CHECK(shift->residual_rms_px == Approx(0.1414).epsilon(0.2));
    CHECK(shift->shift_cov.xx < 0.01);
    CHECK(shift->pairs.size() > 60);
  }
}

TEST_CASE("half the stars may be strangers") {
  for (std::uint64_t seed = 10; seed < 30; ++seed) {
    // A common star falls on the frame one time in nine, a stranger on this frame one time in two: a share of 2/11
    // strangers thrown makes half of the list strangers.
    const Made m = make(300, 2.0 / 11.0, Angle::deg(4.0), 700.0, -400.0, 0.2, seed);
    const auto shift = shift_between(m.a, m.b);
    REQUIRE(shift);
    // 0.2 px over a hundred pairs and a roll known to 1e-5: six sigmas.
    CHECK(shift->shift_x_px == Approx(700.0).margin(0.2));
    CHECK(shift->shift_y_px == Approx(-400.0).margin(0.2));
    // Nine strangers to one: refused rather than guessed wrong.
    const Made wild = make(300, 0.9, Angle::deg(4.0), 700.0, -400.0, 0.2, seed);
    if (const auto found = shift_between(wild.a, wild.b)) CHECK(found->shift_x_px == Approx(700.0).margin(1.0));
  }
}

TEST_CASE("unrelated frames are refused, and so are empty ones") {
  for (std::uint64_t seed = 100; seed < 140; ++seed) {
    const Made one = make(300, 0.0, Angle(), 0, 0, 0.1, seed), other = make(300, 0.0, Angle(), 0, 0, 0.1, seed + 1000);
    CHECK_FALSE(shift_between(one.a, other.b));
  }
  StarList empty;
  empty.width = 6000, empty.height = 4000;
  CHECK_FALSE(shift_between(empty, empty));
  const Made m = make(50, 0.0, Angle(), 0, 0, 0.1, 5);
  CHECK_FALSE(shift_between(m.a, empty));
  StarList smaller = m.b;
  smaller.width = 3000;
  CHECK_FALSE(shift_between(m.a, smaller));
}

TEST_CASE("flagged detections take no part") {
  Made m = make(200, 0.0, Angle(), 10.0, 5.0, 0.1, 7);
  // A hot-pixel pattern that stays put outnumbers the stars.
  std::mt19937_64 random(8);
  std::uniform_real_distribution<double> unit(0.0, 1.0);
  for (int i = 0; i < 500; ++i) {
    Star s;
    s.position = {unit(random) * 5999, unit(random) * 3999};
    s.flags.hot_pixel = true;
    m.a.stars.insert(m.a.stars.begin(), s);
    m.b.stars.insert(m.b.stars.begin(), s);
  }
  const auto shift = shift_between(m.a, m.b);
  REQUIRE(shift);
  CHECK(shift->shift_x_px == Approx(10.0).margin(0.1));
  CHECK(shift->shift_y_px == Approx(5.0).margin(0.1));
}

TEST_CASE("few stars are enough when they agree closely") {
  const Made m = make(12, 0.0, Angle::deg(1.0), 40.0, -25.0, 0.05, 21);
  const auto shift = shift_between(m.a, m.b);
  REQUIRE(shift);
  CHECK(shift->shift_x_px == Approx(40.0).margin(0.3));
  CHECK(shift->roll.deg() == Approx(1.0).margin(0.01));
}
