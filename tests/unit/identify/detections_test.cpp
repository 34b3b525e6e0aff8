#include "identify/detections.hpp"

#include <catch2/catch.hpp>
#include <cmath>
#include <limits>
#include <random>

using namespace polewright;

namespace {

Star star_at(double x, double y, double flux) {
  Star s;
  s.position = {x, y};
  s.flux = flux;
  s.position_cov = {0.04, 0.0, 0.04};
  return s;
}

}  // namespace

TEST_CASE("only what may be a star takes part, brightest first") {
  StarList list;
  list.width = 100;
  list.height = 80;
  list.stars = {star_at(10, 10, 5), star_at(20, 10, 50), star_at(30, 10, 40), star_at(40, 10, 30), star_at(50, 10, 20)};
  list.stars[2].flags.hot_pixel = true;
  list.stars[3].flags.too_large = true;
  list.stars[4].flags.too_large = list.stars[4].flags.saturated = true;  // a burnt-out star
  list.stars.push_back(star_at(std::numeric_limits<double>::quiet_NaN(), 5, 100));
  list.stars.push_back(star_at(500, 5, 100));
  const Detections d(list, 100);
  REQUIRE(d.size() == 3);
  CHECK(d[0].star == 1);
  CHECK(d[1].star == 4);
  CHECK(d[2].star == 0);
  CHECK(d[0].sigma_px == Approx(0.2));
  CHECK(Detections(list, 2).size() == 2);
}

TEST_CASE("the nearest detection is what looking at all of them finds") {
  std::mt19937_64 random(3);
  StarList list;
  list.width = 640;
  list.height = 480;
  std::uniform_real_distribution<double> x(0, 639), y(0, 479);
  for (int i = 0; i < 300; ++i) list.stars.push_back(star_at(x(random), y(random), 1000.0 - i));
  const Detections d(list, 1000);
  for (int i = 0; i < 2000; ++i) {
    const PixelPoint p{x(random) * 1.2 - 60, y(random) * 1.2 - 50};
    const double reach = std::uniform_real_distribution(1.0, 80.0)(random);
    const std::uint32_t among = i % 2 == 0 ? 300 : 40;
    std::optional<std::uint32_t> best;
    double nearest = reach;
    for (std::uint32_t k = 0; k < among; ++k)
      if (const double far = std::hypot(d[k].place.x - p.x, d[k].place.y - p.y); far <= nearest) {
        nearest = far;
        best = k;
      }
    CHECK(d.nearest(p, reach, among) == best);
  }
}

TEST_CASE("an empty list has no neighbours") {
  StarList list;
  list.width = 10;
  list.height = 10;
  const Detections d(list, 10);
  CHECK(d.size() == 0);
  CHECK_FALSE(d.nearest({5, 5}, 100, 10));
}
