// A frame with hardly any stars and one full of them.
#include <catch2/catch.hpp>
#include <cmath>

#include "truth/stars/render.hpp"
#include "truth/stars/statistics.hpp"

using namespace polewright;
using namespace polewright::test;

TEST_CASE("eight stars on a whole frame are found, and nothing else is") {
  RenderOptions o;
  o.width = 1600;
  o.height = 1200;
  o.seed = 8;
  std::vector<RenderedStar> stars;
  for (int i = 0; i < 8; ++i)
    stars.push_back({.x = 150.3 + 181.7 * i, .y = 1100.6 - 137.2 * i, .sigma_px = 1.2, .electrons = 400.0 * (i + 1)});
  const auto list = find_stars(render(stars, o));
  REQUIRE(list);
  // The faintest stands at 400/(√109·√4π·1.24) = 8.7 σ.
  CHECK(match(stars, *list, 1.0).size() == 8);
  CHECK(list->stars.size() <= 9);  // 1.9 megapixels, at most one false detection per megapixel: one is allowed here
  CHECK(list->flags.empty());
}

TEST_CASE("thirty thousand stars are found but for those that run together") {
  RenderOptions o;
  o.width = 3200;
  o.height = 2400;
  o.seed = 30;
  std::mt19937_64 rng(30);
  std::uniform_real_distribution<double> unit(0.0, 1.0);
  std::vector<RenderedStar> stars;
  for (int i = 0; i < 30000; ++i)
    stars.push_back({.x = 10.0 + unit(rng) * (o.width - 20.0),
                     .y = 10.0 + unit(rng) * (o.height - 20.0),
                     .sigma_px = 1.1,
                     .electrons = std::min(1e5, 600.0 / (1.0 - unit(rng)))});
  StarOptions options;
  options.max_fitted = 1000;  // what is found does not depend on it
  const auto list = find_stars(render(stars, o), options);
  REQUIRE(list);
  // Places in cells of 16 px, so that looking for neighbours does not take the square of thirty thousand.
  const int nx = o.width / 16 + 1;
  std::vector<std::vector<const RenderedStar*>> cells(static_cast<std::size_t>(nx * (o.height / 16 + 1)));
  std::vector<std::vector<const Star*>> found(cells.size());
  const auto cell = [&](double x, double y) {
    return static_cast<std::size_t>(static_cast<int>(y / 16.0) * nx + static_cast<int>(x / 16.0));
  };
  for (const RenderedStar& s : stars) cells[cell(s.x, s.y)].push_back(&s);
  for (const Star& s : list->stars) found[cell(s.position.x, s.position.y)].push_back(&s);
  int wanted = 0, seen = 0;
  for (const RenderedStar& s : stars) {
    bool lonely = true, hit = false;
    for (int dy = -16; dy <= 16; dy += 16)
      for (int dx = -16; dx <= 16; dx += 16) {
        if (s.x + dx < 0 || s.y + dy < 0 || s.x + dx >= o.width || s.y + dy >= o.height) continue;
        for (const RenderedStar* other : cells[cell(s.x + dx, s.y + dy)])
          lonely &=
              other == &s || other->electrons < 0.05 * s.electrons || std::hypot(other->x - s.x, other->y - s.y) > 8.0;
        for (const Star* star : found[cell(s.x + dx, s.y + dy)])
          hit |= std::hypot(star->position.x - s.x, star->position.y - s.y) < 1.5;
      }
    wanted += lonely ? 1 : 0;
    seen += lonely && hit ? 1 : 0;
  }
  result_row("\n30 000 stars on 7.7 megapixels: %d listed, %d lonely above 14 σ, %.2f %% of them found\n",
             static_cast<int>(list->stars.size()), wanted, 100.0 * seen / wanted);
  CHECK(wanted > 10000);
  CHECK(seen >= 0.99 * wanted);  // the target for isolated stars
}
