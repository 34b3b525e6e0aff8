#include "stars/background.hpp"

#include <catch2/catch.hpp>
#include <random>

#include "truth/stars/render.hpp"

using namespace polewright;
using namespace polewright::test;

TEST_CASE("sky level and noise of a colour mosaic, each colour its own") {
  RenderOptions o;
  o.width = 256;
  o.height = 192;
  o.mosaic = rggb();
  Frame f = render({}, o);
  for (int y = 0; y < o.height; ++y)
    for (int x = 0; x < o.width; ++x)
      f.pixels[static_cast<std::size_t>(y * o.width + x)] = static_cast<std::uint16_t>(
          f.pixels[static_cast<std::size_t>(y * o.width + x)] + 100 * (2 * (y & 1) + (x & 1)));
  const BackgroundMap map = BackgroundMap::measure(f, 1);
  CHECK(map.classes() == 4);
  for (int y = 0; y < 2; ++y)
    for (int x = 0; x < 2; ++x) {
      // 512 samples: a median scatters by 0.055σ, σ = 10.4.
      CHECK(map.level(100 + x, 100 + y) == Approx(612.0F + 100.0F * static_cast<float>(2 * y + x)).margin(2.0));
      CHECK(map.noise(100 + x, 100 + y) == Approx(10.44F).epsilon(0.12));
    }
}

TEST_CASE("normalised rows are standard normal on empty sky, for every start of the row") {
  RenderOptions o;
  o.width = 300;
  o.height = 200;
  o.mosaic = rggb();
  const Frame f = render({}, o);
  const BackgroundMap map = BackgroundMap::measure(f, 1);
  for (const int x0 : {0, 1, 17, 96}) {
    double sum = 0.0, square = 0.0;
    int n = 0;
    BackgroundMap::RowSkies sky;
    std::vector<float> z(static_cast<std::size_t>(o.width));
    for (int y = 0; y < o.height; ++y) {
      map.normalise(&f.pixels[static_cast<std::size_t>(y * o.width + x0)], y, x0, o.width, sky, z.data());
      for (int x = x0; x < o.width; ++x) {
        const float v = z[static_cast<std::size_t>(x - x0)];
        CHECK(std::abs(v - (f.at(x, y) - map.level(x, y)) / map.noise(x, y)) < 0.05F);  // 1/noise is linear, not noise
        sum += static_cast<double>(v);
        square += static_cast<double>(v * v);
        ++n;
      }
    }
    CHECK(std::abs(sum / n) < 0.05);
    CHECK(square / n == Approx(1.0).epsilon(0.06));
  }
}

TEST_CASE("bright stars and dead pixels leave the sky level alone") {
  RenderOptions o;
  o.width = o.height = 320;
  auto stars = star_grid(o, 20, {.sigma_px = 1.5, .electrons = 40000.0}, 3);
  Frame f = render(stars, o);
  for (std::size_t i = 0; i < f.pixels.size(); i += 97) f.pixels[i] = 0;
  const BackgroundMap map = BackgroundMap::measure(f, 1);
  CHECK(map.median_level() == Approx(612.0).margin(3.0));  // 13 % of the pixels are lit by stars: 0.2σ of pull
}
