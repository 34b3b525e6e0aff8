// Whole simulated frames: what is found of what is there, and what is found that is not there.
#include "truth/stars/scenes.hpp"

#include <catch2/catch.hpp>
#include <cmath>

#include "truth/stars/statistics.hpp"

using namespace polewright;
using namespace polewright::test;

namespace {

/// No star with a twentieth of its light close by, and no glare of a much brighter one.
bool isolated(const simulate::StarTruth& t, const std::vector<simulate::StarTruth>& all, double length) {
  const double ux = length > 0.0 ? t.trail.x / length : 1.0, uy = length > 0.0 ? t.trail.y / length : 0.0;
  for (const auto& o : all) {
    if (&o == &t || o.electrons < 0.05 * t.electrons) continue;
    const double dx = o.place.x - t.place.x, dy = o.place.y - t.place.y;
    const double along = std::max(0.0, std::abs(dx * ux + dy * uy) - length);
    const double glare = o.electrons > 1e5 ? std::min(40.0, 8.0 * std::sqrt(o.electrons / 1e5)) : 0.0;
    if (std::hypot(along, dx * uy - dy * ux) < 8.0 + glare) return false;
  }
  return true;
}

struct SceneFigures {
  int wanted = 0, found = 0, usable = 0, imagined = 0;
  double megapixels = 0.0;
};

SceneFigures scene_figures(const NamedScene& s) {
  const auto sky = simulate::random_stars(s.scene, s.faintest, 3);
  const auto rendered = simulate::render_frame(s.scene, sky, 0, s.render);
  StarOptions options;
  options.focal_px = s.scene.lens.focal_px();
  const auto list = find_stars(rendered.frame, options);
  REQUIRE(list);
  SceneFigures f;
  f.megapixels = static_cast<double>(rendered.frame.pixels.size()) * 1e-6;
  std::vector<bool> explained(list->stars.size(), false);
  const double noise_e = list->sky_noise * s.render.detector.gain_e_per_adu;
  const double width2 = list->psf_sigma_px * list->psf_sigma_px + 1.0 / 12.0;
  for (const auto& t : rendered.stars) {
    const double length = std::hypot(t.trail.x, t.trail.y);
    std::size_t best = list->stars.size();
    double best_px = 2.0 + 0.3 * length;
    for (std::size_t i = 0; i < list->stars.size(); ++i) {
      const double d = std::hypot(list->stars[i].position.x - t.place.x, list->stars[i].position.y - t.place.y);
      if (d < best_px) best_px = d, best = i;
    }
    const bool hit = best < list->stars.size();
    if (hit) explained[best] = true;
    // Matched-filter significance of the whole image, trail included.
    const double snr =
        t.electrons / (noise_e * std::sqrt(4.0 * M_PI * std::sqrt(width2 * (width2 + length * length / 12.0))));
    const double margin = 8.0 + length / 2.0;
    const bool inside = t.place.x > margin && t.place.y > margin && t.place.x < rendered.frame.width - 1 - margin &&
                        t.place.y < rendered.frame.height - 1 - margin;
    if (snr < 8.0 || !inside || !isolated(t, rendered.stars, length)) continue;
    ++f.wanted;
    f.found += hit ? 1 : 0;
    f.usable += hit && list->stars[best].flags.usable() ? 1 : 0;
  }
  for (std::size_t i = 0; i < list->stars.size(); ++i)
    if (!explained[i] && list->stars[i].flags.usable()) ++f.imagined;
  return f;
}

}  // namespace

TEST_CASE("completeness and false detections on whole scenes") {
  result_row("\n| scene | isolated stars above 8σ | found %% | usable %% | false per Mpx |\n|---|---|---|---|---|\n");
  for (const NamedScene& s : night_scenes()) {
    const SceneFigures f = scene_figures(s);
    const double found = 100.0 * f.found / f.wanted, wrong = f.imagined / f.megapixels;
    result_row("| %s | %d | %.2f | %.2f | %.2f |\n", s.name.c_str(), f.wanted, found, 100.0 * f.usable / f.wanted,
               wrong);
    CAPTURE(s.name);
    CHECK(found >= 99.0);  // the target
    CHECK(wrong <= s.false_limit_per_megapixel);
  }
}
