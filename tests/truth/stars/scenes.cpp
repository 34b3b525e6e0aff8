#include "truth/stars/scenes.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>
#include <random>

namespace polewright::test {
namespace {

constexpr Mosaic kRggb{{FilterColour::red, FilterColour::green, FilterColour::green, FilterColour::blue}};

NamedScene base_scene(const std::string& name) {
  NamedScene s;
  s.name = name;
  s.scene.first_start = UtcTime::from_calendar({2026, 10, 9, 20, 15, 0.0});
  s.scene.frames = 1;
  s.scene.exposure_s = 30.0;
  s.scene.lens.focal_mm = 50.0;
  s.scene.lens.width_px = 2400;
  s.scene.lens.height_px = 1600;
  s.scene.pointing = simulate::Horizontal{Angle::deg(150), Angle::deg(50), Angle::deg(5)};
  s.render.detector.psf.sigma_px = 1.1;
  s.render.detector.psf.moffat_beta = 4.0;
  s.render.detector.hot_pixels_per_megapixel = 60.0;
  return s;
}

/// Light of the chip's own amplifier, electrons: brightest in one corner and along the right edge.
double amplifier_glow_e(const Frame& frame, double x, double y) {
  constexpr double kCorner_e = 2000.0, kEdge_e = 400.0, kReach_px = 300.0, kEdgeReach_px = 120.0;
  const double from_edge = frame.width - 1 - x;
  return kCorner_e * std::exp(-std::hypot(from_edge, frame.height - 1 - y) / kReach_px) +
         kEdge_e * std::exp(-from_edge / kEdgeReach_px);
}

/// With its shot noise, and with pixels there that leak a few times as much as those around them.
void add_amplifier_glow(Frame& frame, double gain_e_per_adu, std::uint64_t seed) {
  constexpr double kWarmShare = 0.002;
  std::mt19937_64 random(seed);
  std::uniform_real_distribution<double> unit(0.0, 1.0);
  for (int y = 0; y < frame.height; ++y)
    for (int x = 0; x < frame.width; ++x) {
      double e = amplifier_glow_e(frame, x, y);
      if (e < 0.1) continue;
      if (unit(random) < kWarmShare) e *= 1.0 - 3.0 * std::log(1.0 - unit(random));
      auto& sample = frame.pixels[static_cast<std::size_t>(y) * static_cast<std::size_t>(frame.width) +
                                  static_cast<std::size_t>(x)];
      const double adu = std::poisson_distribution<int>(e)(random) / gain_e_per_adu;
      sample = static_cast<std::uint16_t>(std::min(frame.white_level, std::round(sample + adu)));
    }
}

double median_sample(const Frame& frame, int colour) {
  std::vector<std::uint16_t> samples;
  for (int y = colour / 2; y < frame.height; y += 8)
    for (int x = colour % 2; x < frame.width; x += 8) samples.push_back(frame.at(x, y));
  const auto middle = samples.begin() + static_cast<std::ptrdiff_t>(samples.size() / 2);
  std::nth_element(samples.begin(), middle, samples.end());
  return *middle;
}

/// IEC 61966-2-1.
double srgb(double linear) {
  return linear <= 0.0031308 ? 12.92 * linear : 1.055 * std::pow(linear, 1.0 / 2.4) - 0.055;
}

constexpr double kSkyShareOfWhite = 0.03;  // shows as 49 of 255, a usual dark sky

/// What a camera's own JPEG does to a mosaic: white balance, interpolated colours, tone curve, 8 bits, 8×8 blocks; then
/// one plane of it as the frame reader gives it.
void through_jpeg(Frame& frame) {
  cv::Mat mosaic(frame.height, frame.width, CV_16U), colour, picture(frame.height, frame.width, CV_8UC3);
  std::array<double, 4> sky{};
  for (int c = 0; c < 4; ++c) {
    const auto k = static_cast<std::size_t>(c);
    sky[k] = median_sample(frame, c) - frame.black_level[k];
  }
  for (int y = 0; y < frame.height; ++y)
    for (int x = 0; x < frame.width; ++x) {
      const auto c = static_cast<std::size_t>(2 * (y & 1) + (x & 1));
      const double linear = (frame.at(x, y) - frame.black_level[c]) / sky[c] * kSkyShareOfWhite;
      mosaic.at<std::uint16_t>(y, x) = cv::saturate_cast<std::uint16_t>(linear * 65535.0);
    }
  cv::cvtColor(mosaic, colour, cv::COLOR_BayerBG2BGR);  // OpenCV's name for red first
  for (int y = 0; y < frame.height; ++y)
    for (int x = 0; x < 3 * frame.width; ++x)
      picture.ptr<std::uint8_t>(y)[x] =
          cv::saturate_cast<std::uint8_t>(255.0 * srgb(colour.ptr<std::uint16_t>(y)[x] / 65535.0));
  std::vector<std::uint8_t> file;
  cv::imencode(".jpg", picture, file, {cv::IMWRITE_JPEG_QUALITY, 92});
  picture = cv::imdecode(file, cv::IMREAD_UNCHANGED);
  for (int y = 0; y < frame.height; ++y)
    for (int x = 0; x < frame.width; ++x) {
      const auto p = picture.at<cv::Vec3b>(y, x);
      frame.pixels[static_cast<std::size_t>(y) * static_cast<std::size_t>(frame.width) + static_cast<std::size_t>(x)] =
          static_cast<std::uint16_t>(p[0] + p[1] + p[2]);
    }
  frame.kind = FileKind::jpeg;
  frame.lossy = true;
  frame.mosaic = {};
  frame.planes_combined = 3;
  frame.black_level.fill(0.0);
  frame.white_level = 765.0;
  frame.scale = 1.0 / 3.0;
}

/// Independent noise per pixel that would leave, under a Gaussian of the stars' size, what this frame's noise leaves.
double noise_under_filter(const Frame& frame, double sigma_px) {
  const cv::Mat plane(frame.height, frame.width, CV_16U, const_cast<std::uint16_t*>(frame.pixels.data()));
  cv::Mat real, smooth;
  plane.convertTo(real, CV_32F);
  cv::GaussianBlur(real, smooth, {0, 0}, sigma_px);
  std::vector<float> values(smooth.begin<float>(), smooth.end<float>());
  std::sort(values.begin(), values.end());
  const double level = values[values.size() / 2];
  const double scatter = level - values[static_cast<std::size_t>(0.1587 * static_cast<double>(values.size()))];
  return scatter * 2.0 * std::sqrt(M_PI) * sigma_px;
}

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

/// Two or three stars closer than the optics part are one image at their centre of light, further than the usual 2 px
/// from each of them. Such an image is not imagined, provided that it is flagged as blended.
bool is_unresolved_group(const std::vector<simulate::StarTruth>& truth, const Star& found) {
  constexpr double kReach_px = 4.0;  // 1.5 full widths from the middle
  if (!found.flags.blended) return false;
  double light = 0.0, x = 0.0, y = 0.0, brightest = 0.0;
  for (const auto& t : truth) {
    if (std::hypot(t.place.x - found.position.x, t.place.y - found.position.y) > kReach_px) continue;
    light += t.electrons;
    x += t.electrons * t.place.x;
    y += t.electrons * t.place.y;
    brightest = std::max(brightest, t.electrons);
  }
  return brightest < 0.9 * light && std::hypot(x / light - found.position.x, y / light - found.position.y) < 1.0;
}

}  // namespace

std::vector<NamedScene> night_scenes() {
  std::vector<NamedScene> all;
  all.push_back(base_scene("plain sky"));

  NamedScene vignetted = base_scene("vignetting, gradient, light dome");
  vignetted.render.detector.vignetting_corner = 0.7;
  vignetted.render.detector.gradient_per_frame = 0.8;
  vignetted.render.extras.light_domes.push_back({Angle::deg(160), 6.0, Angle::deg(40), Angle::deg(12)});
  vignetted.scene.pointing = simulate::Horizontal{Angle::deg(150), Angle::deg(25), Angle()};
  all.push_back(vignetted);

  NamedScene milky = base_scene("Milky Way, many stars");
  milky.render.extras.milky_way = 3.0;
  milky.faintest = 12.5;
  all.push_back(milky);

  NamedScene clouds = base_scene("clouds and haze");
  clouds.render.extras.clouds = simulate::Clouds{};
  clouds.render.detector.sky_e_per_px = 900.0;  // moonlit
  all.push_back(clouds);

  NamedScene ground = base_scene("mountains, trees, lamps");
  ground.scene.pointing = simulate::Horizontal{Angle::deg(180), Angle::deg(11), Angle()};
  simulate::Foreground foreground;
  foreground.lamps = {{Angle::deg(178), Angle::deg(4), 2e5, {}, {}},
                      {Angle::deg(182), Angle::deg(3), 5e4, {}, {}},
                      {Angle::deg(184), Angle::deg(5), 1e6, Angle::deg(0.1), Angle::deg(0.06)}};
  ground.render.extras.foreground = foreground;
  all.push_back(ground);

  NamedScene colour = base_scene("colour mosaic, warm columns");
  colour.render.detector.mosaic = kRggb;
  colour.render.detector.warm_columns_per_1000 = 2.0;
  colour.render.detector.black_adu = {512, 520, 515, 505};
  all.push_back(colour);

  NamedScene traffic = base_scene("satellites, aircraft, cosmic rays");
  traffic.render.extras.streaks = {{0, {100, 200}, {2300, 900}, 0.0, 1.0, 400.0, 0.0},
                                   {0, {300, 1500}, {2000, 100}, 0.0, 1.0, 300.0, 1.2}};
  traffic.render.extras.cosmic_rays_per_megapixel_s = 0.2;
  all.push_back(traffic);

  NamedScene fixed = base_scene("fixed tripod, trails of 28 px");
  fixed.scene.mount.rate_ratio = 0.0;
  fixed.faintest = 9.5;
  all.push_back(fixed);

  NamedScene glow = base_scene("amplifier glow");
  glow.amplifier_glow = true;
  all.push_back(glow);

  NamedScene jpeg = base_scene("JPEG picture");
  jpeg.render.detector.mosaic = kRggb;
  jpeg.jpeg = true;
  all.push_back(jpeg);
  return all;
}

NamedScene with_seed(NamedScene s, std::uint64_t seed) {
  s.render.seed = seed;
  s.render.detector.pattern_seed = 1000 + seed;
  if (s.render.extras.foreground) s.render.extras.foreground->seed = 50 + seed;
  if (s.render.extras.clouds) s.render.extras.clouds->seed = 90 + seed;
  return s;
}

SceneFrame rendered(const NamedScene& s) {
  const auto sky = simulate::random_stars(s.scene, s.faintest, 100 + s.render.seed);
  auto made = simulate::render_frame(s.scene, sky, 0, s.render);
  SceneFrame out{std::move(made.frame), std::move(made.stars)};
  const double gain = s.render.detector.gain_e_per_adu;
  if (s.amplifier_glow) add_amplifier_glow(out.frame, gain, s.render.seed);
  if (s.jpeg) {
    // A star of as many electrons as a pixel has of sky gives, through the same filters, as much light as the sky does
    // where the curve is straight: units per electron from the curve's slope at the sky.
    const double sky_e = (median_sample(out.frame, 1) - out.frame.black_level[1]) * gain / 0.9;  // green passes 0.9
    through_jpeg(out.frame);
    const double slope = (srgb(1.01 * kSkyShareOfWhite) - srgb(0.99 * kSkyShareOfWhite)) / 0.02 * 765.0 / sky_e;
    out.noise_e = noise_under_filter(out.frame, std::hypot(s.render.detector.psf.sigma_px, 0.29)) / slope;
  }
  return out;
}

Explained explain(const std::vector<simulate::StarTruth>& truth, const std::vector<Star>& found) {
  Explained out{{}, std::vector<bool>(found.size(), false)};
  for (const auto& t : truth) {
    std::size_t best = found.size();
    double best_px = 2.0 + 0.3 * std::hypot(t.trail.x, t.trail.y);
    for (std::size_t i = 0; i < found.size(); ++i) {
      const double d = std::hypot(found[i].position.x - t.place.x, found[i].position.y - t.place.y);
      if (d < best_px) best_px = d, best = i;
    }
    if (best < found.size()) out.is_star[best] = true;
    out.detection_of.push_back(best);
  }
  for (std::size_t i = 0; i < found.size(); ++i)
    if (!out.is_star[i]) out.is_star[i] = is_unresolved_group(truth, found[i]);
  return out;
}

SceneFigures& SceneFigures::operator+=(const SceneFigures& o) {
  wanted += o.wanted, found += o.found, usable += o.usable, imagined += o.imagined;
  megapixels += o.megapixels;
  return *this;
}

SceneFigures scene_figures(const NamedScene& s, const SceneFrame& made, const StarList& list) {
  SceneFigures f;
  f.megapixels = static_cast<double>(made.frame.pixels.size()) * 1e-6;
  const Explained explained = explain(made.stars, list.stars);
  const double sky_e = made.noise_e > 0.0 ? made.noise_e : list.sky_noise * s.render.detector.gain_e_per_adu;
  const double width2 = list.psf_sigma_px * list.psf_sigma_px + 1.0 / 12.0;
  for (std::size_t k = 0; k < made.stars.size(); ++k) {
    const auto& t = made.stars[k];
    const double length = std::hypot(t.trail.x, t.trail.y);
    const double glow_e = s.amplifier_glow ? amplifier_glow_e(made.frame, t.place.x, t.place.y) : 0.0;
    const double noise_e = std::sqrt(sky_e * sky_e + glow_e);
    // Matched-filter significance of the whole image, trail included.
    const double snr =
        t.electrons / (noise_e * std::sqrt(4.0 * M_PI * std::sqrt(width2 * (width2 + length * length / 12.0))));
    const double margin = 8.0 + length / 2.0;
    const bool inside = t.place.x > margin && t.place.y > margin && t.place.x < made.frame.width - 1 - margin &&
                        t.place.y < made.frame.height - 1 - margin;
    if (snr < 8.0 || !inside || !isolated(t, made.stars, length)) continue;
    const std::size_t best = explained.detection_of[k];
    const bool hit = best < list.stars.size();
    ++f.wanted;
    f.found += hit ? 1 : 0;
    f.usable += hit && list.stars[best].flags.usable() ? 1 : 0;
  }
  for (std::size_t i = 0; i < list.stars.size(); ++i)
    if (!explained.is_star[i] && list.stars[i].flags.usable()) ++f.imagined;
  return f;
}

}  // namespace polewright::test
