#include <catch2/catch.hpp>
#include <cmath>
#include <numeric>

#include "simulate/projection.hpp"
#include "simulate/random.hpp"
#include "simulate/simulate.hpp"
#include "simulate/sky_places.hpp"

using namespace polewright;
using namespace polewright::simulate;

namespace {

/// One star in the middle, no sky, no noise.
struct Lone {
  Scene scene;
  std::vector<SkyStar> stars;
  RenderOptions options;
  explicit Lone(double magnitude = 8.0) {
    scene.first_start = UtcTime::from_calendar({2026, 10, 9, 20, 15, 0.0});
    scene.lens.width_px = 160;
    scene.lens.height_px = 120;
    stars = {{7, frame_truth(scene, 0).centre, magnitude}};
    Detector& d = options.detector;
    d.sky_e_per_px = 0.0;
    d.read_noise_e = 0.0;
    d.shot_noise = false;
    d.hot_pixels_per_megapixel = 0.0;
    d.gain_e_per_adu = 0.2;
    d.white_level_adu = 65535.0;
    d.full_well_e = 1e9;
    d.black_adu = {100, 100, 100, 100};
  }
};

struct Moments {
  double sum = 0.0, x = 0.0, y = 0.0, xx = 0.0, yy = 0.0;
};

Moments moments_of(const Frame& frame, double black) {
  Moments m;
  for (int y = 0; y < frame.height; ++y) {
    for (int x = 0; x < frame.width; ++x) {
      const double v = frame.at(x, y) - black;
      m.sum += v;
      m.x += v * x;
      m.y += v * y;
      m.xx += v * x * x;
      m.yy += v * y * y;
    }
  }
  m.x /= m.sum;
  m.y /= m.sum;
  m.xx = m.xx / m.sum - m.x * m.x;
  m.yy = m.yy / m.sum - m.y * m.y;
  return m;
}

}  // namespace

TEST_CASE("a rendered star has the flux, place and width it should") {
  Lone lone;
  const RenderedFrame r = render_frame(lone.scene, lone.stars, 0, lone.options);
  REQUIRE(r.stars.size() == 1);
  const Moments m = moments_of(r.frame, 100.0);
  // Rounding to samples of 0.2 electrons and cutting the wings leave a few parts in ten thousand.
  CHECK(m.sum * 0.2 == Approx(r.stars[0].electrons).epsilon(1e-3));
  CHECK(m.x == Approx(r.stars[0].place.x).margin(2e-3));
  CHECK(m.y == Approx(r.stars[0].place.y).margin(2e-3));
  CHECK(m.xx == Approx(1.0 + 1.0 / 12.0).epsilon(0.01));  // σ² plus the pixel's own 1/12
  const auto listed = star_places(lone.scene, lone.stars, 0);
  REQUIRE(listed.size() == 1);
  CHECK(listed[0].place.x == Approx(r.stars[0].place.x).margin(1e-3));
  CHECK(listed[0].place.y == Approx(r.stars[0].place.y).margin(1e-3));
}

TEST_CASE("a trail widens the image by a twelfth of its length squared") {
  Lone lone;
  lone.scene.mount.rate_ratio = 0.0;
  const RenderedFrame r = render_frame(lone.scene, lone.stars, 0, lone.options);
  REQUIRE(r.stars.size() == 1);
  const PixelPoint trail = r.stars[0].trail;
  REQUIRE(std::hypot(trail.x, trail.y) > 10.0);
  const Moments m = moments_of(r.frame, 100.0);
  CHECK(m.xx + m.yy == Approx(2.0 * (1.0 + 1.0 / 12.0) + (trail.x * trail.x + trail.y * trail.y) / 12.0).epsilon(0.01));
  CHECK(m.x == Approx(r.stars[0].place.x).margin(5e-3));
}

TEST_CASE("optical flaws spread the light and keep its centroid and sum") {
  for (const int flaw : {0, 1, 2, 3}) {
    Lone lone;
    lone.scene.lens.principal_offset_px = {-60, 0};
    PointSpread& psf = lone.options.detector.psf;
    if (flaw == 0) psf.moffat_beta = 4.0;
    if (flaw == 1) psf.astigmatism_px = 3.0;
    if (flaw == 2) psf.coma_px = 6.0;
    if (flaw == 3) psf.defocus_px = 4.0;
    // The star in the middle of the frame stands beside the optical axis, where aberrations show.
    const FrameTruth truth = frame_truth(lone.scene, 0);
    const auto middle = truth.camera_from_enu.inverse() * *unproject(lone.scene.lens, {80.0, 60.0});
    lone.stars[0].direction = SkyPlaces(truth.mid, lone.scene.site, lone.scene.weather).icrs(middle);
    const RenderedFrame r = render_frame(lone.scene, lone.stars, 0, lone.options);
    REQUIRE(r.stars.size() == 1);
    const Moments m = moments_of(r.frame, 100.0);
    INFO("flaw " << flaw);
    CHECK(m.sum * 0.2 == Approx(r.stars[0].electrons).epsilon(0.01));  // wings beyond the small frame
    CHECK(m.x == Approx(r.stars[0].place.x).margin(0.03));
    CHECK(m.xx > 1.1);
  }
}

TEST_CASE("noise has the variance of photons and amplifier") {
  Scene scene;
  scene.lens.width_px = 400;
  scene.lens.height_px = 300;
  RenderOptions options;
  options.detector.sky_e_per_px = 100.0;
  options.detector.read_noise_e = 5.0;
  options.detector.gain_e_per_adu = 0.5;
  options.detector.hot_pixels_per_megapixel = 0.0;
  const Frame frame = render_frame(scene, {}, 0, options).frame;
  double sum = 0.0, squares = 0.0;
  for (const std::uint16_t v : frame.pixels) {
    sum += v;
    squares += static_cast<double>(v) * v;
  }
  const double n = static_cast<double>(frame.pixels.size()), mean = sum / n, variance = squares / n - mean * mean;
  // 120 000 samples: the mean's own error is 0.065, the variance's 0.4 %; five of each.
  CHECK(mean == Approx(512.0 + 200.0).margin(0.33));
  CHECK(variance == Approx((100.0 + 25.0) / 0.25 + 1.0 / 12.0).epsilon(0.02));
}

TEST_CASE("the same seed gives the same frame on any number of threads, another seed another") {
  Scene scene;
  scene.lens.width_px = 300;
  scene.lens.height_px = 200;
  const auto stars = random_stars(scene, 10.0, 1);
  RenderOptions options;
  const Frame once = render_frame(scene, stars, 0, options).frame;
  options.threads = 2;
  CHECK(render_frame(scene, stars, 0, options).frame.pixels == once.pixels);
  CHECK(render_frame(scene, stars, 1, options).frame.pixels != once.pixels);
  options.seed = 2;
  CHECK(render_frame(scene, stars, 0, options).frame.pixels != once.pixels);
}

TEST_CASE("stars set behind the landscape and lamps trail while the mount tracks") {
  Scene scene;
  scene.first_start = UtcTime::from_calendar({2026, 10, 9, 20, 15, 0.0});
  scene.lens = {24.0, 12.0, 300, 200, Projection::rectilinear, 0, 0, {}, false, 2.8};
  scene.pointing = Horizontal{Angle::deg(180), Angle::deg(5), Angle()};
  scene.exposure_s = 60.0;
  const auto stars = random_stars(scene, 8.0, 1);
  RenderOptions options;
  const auto open = render_frame(scene, stars, 0, options);
  Foreground land;
  land.base_altitude = Angle::deg(6);
  land.relief = Angle::deg(1);
  options.extras.foreground = land;
  const auto closed = render_frame(scene, stars, 0, options);
  CHECK(closed.stars.size() < open.stars.size());
  // A black hillside below, sky above.
  CHECK(closed.frame.at(150, 195) < open.frame.at(150, 195));
  const auto brightness = [](const Frame& f, int y) {
    double sum = 0.0;
    for (int x = 0; x < f.width; ++x) sum += f.at(x, y);
    return sum;
  };
  CHECK(brightness(closed.frame, 195) < 0.8 * brightness(open.frame, 195));
  CHECK(brightness(closed.frame, 5) == Approx(brightness(open.frame, 5)).epsilon(0.05));
}

TEST_CASE("random deviates have the moments of their distributions") {
  Random random(42);
  const int n = 200000;
  double sum = 0.0, squares = 0.0, beyond = 0.0;
  for (int i = 0; i < n; ++i) {
    const double z = random.normal();
    sum += z;
    squares += z * z;
    beyond += std::abs(z) > 3.0 ? 1 : 0;
  }
  CHECK(sum / n == Approx(0.0).margin(5.0 / std::sqrt(n)));
  CHECK(squares / n == Approx(1.0).margin(5.0 * std::sqrt(2.0 / n)));
  CHECK(beyond / n == Approx(0.0027).margin(5.0 * std::sqrt(0.0027 / n)));
  for (const double mean : {0.3, 4.0, 9.9, 10.1, 200.0}) {
    double s = 0.0, q = 0.0;
    for (int i = 0; i < n; ++i) {
      const double v = random.poisson(mean);
      s += v;
      q += v * v;
    }
    INFO("mean " << mean);
    CHECK(s / n == Approx(mean).margin(5.0 * std::sqrt(mean / n)));
    // Five standard errors of a variance, and 1 % for rounding the normal quantile to whole electrons.
    CHECK(q / n - s / n * s / n == Approx(mean + 1.0 / 12.0 * (mean > 10 ? 1 : 0)).epsilon(0.03));
  }
}

TEST_CASE("star lists carry the noise asked for") {
  Scene scene;
  const auto stars = random_stars(scene, 10.0, 1);
  const auto clean = star_places(scene, stars, 0);
  const auto noisy = star_places(scene, stars, 0, {0.1, 9, 0.0});
  REQUIRE(clean.size() == noisy.size());
  REQUIRE(clean.size() > 200);
  double squares = 0.0;
  for (std::size_t i = 0; i < clean.size(); ++i)
    squares += std::pow(clean[i].place.x - noisy[i].place.x, 2) + std::pow(clean[i].place.y - noisy[i].place.y, 2);
  const double n = 2.0 * static_cast<double>(clean.size());
  CHECK(std::sqrt(squares / n) == Approx(0.1).epsilon(5.0 / std::sqrt(2.0 * n)));  // five standard errors
}
