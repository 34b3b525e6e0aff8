// The motion from b to a undoes the motion from a to b.
#include <catch2/catch.hpp>
#include <cmath>
#include <random>

#include "polewright/motion.hpp"

using namespace polewright;

TEST_CASE("there and back is no motion, and no motion is none") {
  for (std::uint64_t seed = 1; seed <= 20; ++seed) {
    std::mt19937_64 random(seed);
    std::uniform_real_distribution<double> unit(0.0, 1.0);
    std::normal_distribution<double> normal(0.0, 0.05);
    StarList a, b;
    a.width = b.width = 3000;
    a.height = b.height = 2000;
    const double roll = 0.1 * (unit(random) - 0.5), dx = 800.0 * (unit(random) - 0.5),
                 dy = 600.0 * (unit(random) - 0.5);
    for (int i = 0; i < 150; ++i) {
      Star s;
      s.position_cov = {0.0025, 0.0, 0.0025};
      const double x = 3000.0 * unit(random), y = 2000.0 * unit(random);
      s.position = {x + normal(random), y + normal(random)};
      a.stars.push_back(s);
      s.position = {1499.5 + std::cos(roll) * (x - 1499.5) - std::sin(roll) * (y - 999.5) + dx + normal(random),
                    999.5 + std::sin(roll) * (x - 1499.5) + std::cos(roll) * (y - 999.5) + dy + normal(random)};
      b.stars.push_back(s);
    }
    const auto there = shift_between(a, b), back = shift_between(b, a), still = shift_between(a, a);
    REQUIRE(there);
    REQUIRE(back);
    REQUIRE(still);
    CHECK(there->roll.rad() + back->roll.rad() == Approx(0.0).margin(1e-6));
    // b = c + R(a − c) + t, so a = c + Rᵀ(b − c) − Rᵀt.
    const double c = std::cos(back->roll.rad()), s = std::sin(back->roll.rad());
    CHECK(back->shift_x_px == Approx(-(c * there->shift_x_px - s * there->shift_y_px)).margin(0.005));
    CHECK(back->shift_y_px == Approx(-(s * there->shift_x_px + c * there->shift_y_px)).margin(0.005));
    CHECK(std::hypot(still->shift_x_px, still->shift_y_px) < 1e-6);
    CHECK(still->pairs.size() == a.stars.size());
  }
}
