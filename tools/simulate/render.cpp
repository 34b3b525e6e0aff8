#include <algorithm>
#include <cassert>
#include <cmath>
#include <numbers>

#include "base/parallel.hpp"
#include "simulate/backdrop.hpp"
#include "simulate/exposure.hpp"
#include "simulate/point_spread.hpp"
#include "simulate/random.hpp"
#include "simulate/sensor.hpp"
#include "simulate/simulate.hpp"

namespace polewright::simulate {
namespace {

/// Photons per second and square centimetre from a star of V = 0 through the V band: 1005 photons/s/cm²/Å (Bessell,
/// Castelli & Plez 1998: 3.63e-9 erg/s/cm²/Å at 5450 Å) over 880 Å; a camera's whole visible band takes in twice that.
constexpr double kPhotonsPerCm2S = 2.0 * 1005.0 * 880.0;

double electrons_per_s(double magnitude, const Lens& lens, const Detector& detector) {
  const double aperture_cm = 0.1 * lens.focal_mm / lens.f_number;
  return kPhotonsPerCm2S * 0.25 * std::numbers::pi * aperture_cm * aperture_cm * detector.efficiency *
         std::pow(10.0, -0.4 * magnitude);
}

double plain_sky_e(const Scene& scene, const Detector& detector) {
  if (detector.sky_e_per_px) return *detector.sky_e_per_px;
  const double arcsec_per_px = Angle::rad(1.0 / scene.lens.focal_px()).arcsec();
  return electrons_per_s(detector.sky_mag_per_arcsec2, scene.lens, detector) * arcsec_per_px * arcsec_per_px *
         scene.exposure_s;
}

/// Light paths drawn through the exposure, one stamp per step.
class Painter {
 public:
  Painter(const Exposure& exposure, const Detector& detector, const Backdrop& backdrop, Canvas& canvas)
      : exposure_(exposure),
        backdrop_(backdrop),
        canvas_(canvas),
        psf_(detector.psf, exposure.scene().lens),
        detector_(detector) {}

  /// Steps no further apart than a quarter of the image's width keep a trail smooth (ripple below 1e-4).
  void prepare(const std::vector<Arc>& probes, bool sky) {
    double longest = 0.0;
    const auto fine = steps_of(exposure_, exposure_.lively() ? 1000 : 16);
    for (const Arc& arc : probes) {
      double length = 0.0;
      std::optional<PixelPoint> last;
      for (const Step& step : fine) {
        const auto p = project(exposure_.scene().lens, step.attitude * arc.at(step.s));
        if (p && last) length += std::hypot(p->x - last->x, p->y - last->y);
        last = p;
      }
      longest = std::max(longest, length);
    }
    const int n = static_cast<int>(std::ceil(longest / (0.25 * detector_.psf.sigma_px))) + 2;
    (sky ? sky_steps_ : ground_steps_) = steps_of(exposure_, std::min(n, 4000));
  }

  /// Paints `electrons` (whole exposure); true when any of it can fall on the frame.
  bool star(const Arc& arc, double electrons, double warmth, StarTruth& truth) {
    return paint(arc, electrons, filter_shares(detector_.mosaic, warmth), sky_steps_, true, truth);
  }
  void lamp(const Arc& arc, double electrons) {
    StarTruth unused;
    paint(arc, electrons, filter_shares(detector_.mosaic, 0.9), ground_steps_, false, unused);
  }

 private:
  bool paint(const Arc& arc, double electrons, const ColourShares& shares, const std::vector<Step>& steps, bool hide,
             StarTruth& truth) {
    const Lens& lens = exposure_.scene().lens;
    places_.clear();
    PixelPoint sum;
    for (const Step& step : steps) {
      const Vec<Enu> d = arc.at(step.s);
      const auto p = project(lens, step.attitude * d);
      if (!p) return false;
      sum = {sum.x + p->x, sum.y + p->y};
      if (!hide || !(d.z < 0.0 || backdrop_.hidden(d))) places_.push_back(*p);
    }
    const double n = static_cast<double>(steps.size());
    truth.place = {sum.x / n, sum.y / n};
    const auto begin = project(lens, exposure_.attitude(-1.0) * arc.begin);
    const auto end = project(lens, exposure_.attitude(1.0) * arc.end);
    if (begin && end) truth.trail = {end->x - begin->x, end->y - begin->y};
    const double margin = 12.0 * detector_.psf.sigma_px + std::hypot(truth.trail.x, truth.trail.y);
    if (truth.place.x < -margin || truth.place.y < -margin || truth.place.x > lens.width_px + margin ||
        truth.place.y > lens.height_px + margin || places_.empty())
      return false;
    const double flux = electrons * backdrop_.vignetting(truth.place);
    const auto blobs = psf_.at(truth.place);
    for (const PixelPoint& p : places_)
      for (const Blob& b : blobs) stamp(canvas_, {p.x + b.dx, p.y + b.dy}, b.sigma_px, flux * b.share / n, shares);
    truth.electrons = flux * static_cast<double>(places_.size()) / n;
    return true;
  }

  const Exposure& exposure_;
  const Backdrop& backdrop_;
  Canvas& canvas_;
  PointSpreadField psf_;
  const Detector& detector_;
  std::vector<Step> sky_steps_, ground_steps_;
  std::vector<PixelPoint> places_;
};

/// Directions at the frame's centre and corners, as lights of the sky and of the ground.
std::vector<Arc> probes(const Exposure& exposure, bool sky) {
  const Lens& lens = exposure.scene().lens;
  std::vector<Arc> out;
  for (const double x : {0.0, 0.5, 1.0}) {
    for (const double y : {0.0, 0.5, 1.0}) {
      const auto d = unproject(lens, {x * lens.width_px, y * lens.height_px});
      if (!d) continue;
      const Vec<Enu> enu = exposure.attitude(0.0).inverse() * *d;
      out.push_back(sky ? exposure.star(exposure.sky().icrs(enu)) : Exposure::ground(enu));
    }
  }
  return out;
}

std::vector<StarTruth> paint_stars(const Exposure& exposure, std::span<const SkyStar> stars, const Detector& detector,
                                   const Backdrop& backdrop, Painter& painter) {
  const Vec<Icrs> centre = exposure.centre();
  const double cone = cos(exposure.search_radius());
  std::vector<StarTruth> seen;
  for (const SkyStar& star : stars) {
    if (star.direction.dot(centre) < cone) continue;
    const Arc arc = exposure.star(star.direction);
    StarTruth truth{star.id, star.direction, star.v_magnitude, arc.middle, {}, {}, 0.0};
    const double electrons = electrons_per_s(star.v_magnitude, exposure.scene().lens, detector) *
                             exposure.scene().exposure_s * backdrop.transmission(arc.middle);
    const double warmth = Random(9001, star.id).uniform(-0.6, 0.6);
    if (painter.star(arc, electrons, warmth, truth)) seen.push_back(truth);
  }
  return seen;
}

void paint_streaks(const std::vector<Streak>& streaks, int frame, const Exposure& exposure, const Detector& detector,
                   const Backdrop& backdrop, Canvas& canvas) {
  const auto enu_from_camera = exposure.attitude(0.0).inverse();
  const ColourShares shares = filter_shares(detector.mosaic, 0.0);
  for (const Streak& s : streaks) {
    if (s.frame != frame) continue;
    const double length = std::hypot(s.to.x - s.from.x, s.to.y - s.from.y), step = 0.4;
    for (double at = 0.0; at < length; at += step) {
      const double u = at / length, t = s.begin_fraction + u * (s.end_fraction - s.begin_fraction);
      const PixelPoint place{std::lerp(s.from.x, s.to.x, u), std::lerp(s.from.y, s.to.y, u)};
      const auto direction = unproject(exposure.scene().lens, place);
      if (!direction || backdrop.hidden(enu_from_camera * *direction)) continue;
      const double phase = s.blinks_hz * t * exposure.scene().exposure_s;
      const bool flash = s.blinks_hz > 0.0 && phase - std::floor(phase) < 0.06;
      stamp(canvas, place, detector.psf.sigma_px, s.e_per_px * step * (flash ? 12.0 : 1.0), shares);
    }
  }
}

FrameMetadata metadata_of(const Scene& scene, const Detector& detector, UtcTime mid) {
  const std::string source = "simulated";
  FrameMetadata m;
  m.exposure_s = {scene.exposure_s, source};
  m.mid_time = {mid.plus_seconds(scene.clock_error_s), source};
  m.mid_time_sigma_s = 0.001;
  m.site = {scene.site, source};
  m.focal_length_mm = {scene.lens.focal_mm, source};
  m.pixel_pitch_um = {scene.lens.pitch_um, source};
  m.sensor_width_mm = {scene.lens.pitch_um * 1e-3 * scene.lens.width_px, source};
  m.f_number = {scene.lens.f_number, source};
  m.iso = {800.0, source};
  m.camera = detector.camera;
  m.lens = detector.lens_name;
  if (scene.weather.pressure_hpa) m.air_pressure_hpa = {*scene.weather.pressure_hpa, source};
  return m;
}

}  // namespace

RenderedFrame render_frame(const Scene& scene, std::span<const SkyStar> stars, int frame,
                           const RenderOptions& options) {
  assert(scene.validate().empty() && options.detector.validate().empty());
  const Detector& detector = options.detector;
  const Exposure exposure(scene, frame);
  const Backdrop backdrop(exposure, detector, options.extras, plain_sky_e(scene, detector));
  Canvas canvas{scene.lens.width_px, scene.lens.height_px, {}, {}};
  canvas.electrons.assign(static_cast<std::size_t>(canvas.width) * static_cast<std::size_t>(canvas.height), 0.0F);

  RenderedFrame out;
  out.truth = frame_truth(scene, frame);
  Painter painter(exposure, detector, backdrop, canvas);
  painter.prepare(probes(exposure, true), true);
  out.stars = paint_stars(exposure, stars, detector, backdrop, painter);
  if (options.extras.foreground) {
    painter.prepare(probes(exposure, false), false);
    for (const GroundLight& light : ground_lights(*options.extras.foreground, Angle::rad(0.7 / scene.lens.focal_px())))
      painter.lamp(Exposure::ground(light.direction), light.e_per_s * scene.exposure_s);
  }
  paint_streaks(options.extras.streaks, frame, exposure, detector, backdrop, canvas);

  Frame& f = out.frame;
  f.width = canvas.width;
  f.height = canvas.height;
  f.mosaic = detector.mosaic;
  f.black_level = detector.black_adu;
  f.white_level = detector.white_level_adu;
  f.metadata = metadata_of(scene, detector, out.truth.mid);
  f.pixels = expose_sensor(canvas, detector,
                           {scene.exposure_s, options.extras.cosmic_rays_per_megapixel_s,
                            mix(options.seed) ^ mix(static_cast<std::uint64_t>(frame)), options.threads},
                           [&](int y, std::span<float> e) { backdrop.row(y, e); });
  return out;
}

}  // namespace polewright::simulate
