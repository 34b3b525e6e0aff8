#include "truth/mount/sessions/session.hpp"

#include <erfa.h>
#include <erfam.h>

#include <optional>
#include <stdexcept>
#include <string>

namespace polewright::test {
namespace {

constexpr double kOmega = 7.292115146706979e-5;

/// ERFA's star-independent context for a site and an instant.
class Places {
 public:
  Places(const SessionSpec& spec, double seconds) {
    double utc1 = 0.0, utc2 = 0.0, eo = 0.0;
    if (eraDtf2d("UTC", spec.start.year, spec.start.month, spec.start.day, spec.start.hour, spec.start.minute,
                 spec.start.second, &utc1, &utc2) < 0)
      throw std::runtime_error("bad date");
    const double pressure = spec.refraction ? spec.pressure_hpa : 0.0;
    if (eraApco13(utc1, utc2 + seconds / 86400.0, 0.0, spec.site.longitude.rad(), spec.site.latitude.rad(),
                  spec.site.height_m, 0.0, 0.0, pressure, 10.0, 0.5, 0.55, &astrom_, &eo) < 0)
      throw std::runtime_error("bad instant");
  }
  [[nodiscard]] Vec<Enu> observed(Vec<Icrs> star) {
    double ri = 0, di = 0, az = 0, zd = 0, ha = 0, dec = 0, ra = 0;
    eraAtciqz(right_ascension_of(star).rad(), declination_of(star).rad(), &astrom_, &ri, &di);
    eraAtioq(ri, di, &astrom_, &az, &zd, &ha, &dec, &ra);
    return enu_from_horizontal(Angle::rad(az), Angle::rad(ERFA_DPI / 2 - zd));
  }
  [[nodiscard]] Vec<Icrs> icrs(Vec<Enu> place) {
    double ri = 0, di = 0, rc = 0, dc = 0;
    eraAtoiq("A", azimuth_of(place).rad(), ERFA_DPI / 2 - altitude_of(place).rad(), &astrom_, &ri, &di);
    eraAticq(ri, di, &astrom_, &rc, &dc);
    return icrs_from_equatorial(Angle::rad(rc), Angle::rad(dc));
  }

 private:
  eraASTROM astrom_{};
};

/// Pinhole with cubic distortion; the library's lens is not used here.
struct Pinhole {
  double focal_px, cx, cy, k1;
  bool mirrored;
  int width, height;

  explicit Pinhole(const SessionSpec& s)
      : focal_px(s.focal_mm * 1000.0 / s.pitch_um),
        cx(0.5 * (s.width_px - 1)),
        cy(0.5 * (s.height_px - 1)),
        k1(s.k1),
        mirrored(s.mirrored),
        width(s.width_px),
        height(s.height_px) {}
  [[nodiscard]] bool sees(Vec<Camera> d, PixelPoint& p) const {
    if (d.z <= 0.1) return false;
    double x = d.x / d.z, y = d.y / d.z;
    const double grow = 1.0 + k1 * (x * x + y * y);
    p = {cx + focal_px * grow * (mirrored ? -x : x), cy + focal_px * grow * y};
    return p.x >= 0 && p.y >= 0 && p.x <= width - 1 && p.y <= height - 1;
  }
  /// Direction near a pixel: distortion ignored, good enough to scatter stars with.
  [[nodiscard]] Vec<Camera> towards(double px, double py) const {
    const double x = (px - cx) / focal_px;
    return Vec<Camera>{mirrored ? -x : x, (py - cy) / focal_px, 1.0}.unit();
  }
};

double hemisphere(const Site& site) {
  return site.latitude.rad() >= 0.0 ? 1.0 : -1.0;
}

double turn_at(const SessionSpec& s, std::size_t frame, double seconds) {
  double turn = s.rate_ratio * kOmega * seconds;
  if (!s.rate_of_frame.empty()) {
    turn = 0.0;
    for (std::size_t i = 1; i <= frame; ++i)
      turn += s.rate_of_frame[i] * kOmega * (s.frames[i].time_s - s.frames[i - 1].time_s);
    turn += s.rate_of_frame[frame] * kOmega * (seconds - s.frames[frame].time_s);
  }
  const double phase = 2.0 * ERFA_DPI * seconds / s.period_s + s.periodic_phase;
  return turn + s.periodic_error.rad() * std::sin(phase) + s.frames[frame].swing.rad();
}

Rotation<Camera, Camera> camera_turn(Angle about_x, Angle about_y) {
  return rotation_about(Vec<Camera>{1, 0, 0}, about_x) * rotation_about(Vec<Camera>{0, 1, 0}, about_y);
}

Rotation<Camera, Enu> attitude_at(const SessionSpec& s, const std::vector<Vec<Enu>>& axes, std::size_t frame,
                                  double seconds) {
  const ShotFrame& f = s.frames[frame];
  const Pointing& p = s.pointings[static_cast<std::size_t>(f.pointing)];
  const auto start = aimed_at(enu_of(s.site, p.hour_angle, p.declination), p.roll);
  const Angle turn = Angle::rad(-hemisphere(s.site) * turn_at(s, frame, seconds));
  auto attitude = start * rotation_about(axes[0], turn).inverse();
  if (f.axis > 0) {
    // The base moves the camera with the axis: about the horizontal, then about the vertical.
    const Vec<Enu> up{0, 0, 1}, from = axes[0], to = axes[static_cast<std::size_t>(f.axis)];
    const auto raise = rotation_about(from.cross(up).unit(), altitude_of(to) - altitude_of(from));
    const auto swivel = rotation_about(up, azimuth_of(from) - azimuth_of(to));
    attitude = attitude * (swivel * raise).inverse();
  }
  const Angle sag = s.sag_per_min * (seconds / 60.0);
  return camera_turn(sag + f.bump_up, f.bump_right) * attitude;
}

struct FieldStar {
  Vec<Icrs> direction;
  double error_x, error_y;
  bool outlier;
};

Rotation<Camera, Icrs> start_guess(Rotation<Camera, Enu> attitude, Places& places, Angle error,
                                   std::mt19937_64& random) {
  const auto inverse = attitude.inverse();
  const Vec<Icrs> z = places.icrs(inverse * Vec<Camera>{0, 0, 1});
  const Vec<Icrs> near = places.icrs(inverse * Vec<Camera>{0.05, 0, 1}.unit());
  const Vec<Icrs> y = z.cross(near).unit(), x = y.cross(z);
  std::normal_distribution<double> normal(0.0, error.rad() + 1e-12);
  const Rotation<Camera, Icrs> exact{{x.x, x.y, x.z, y.x, y.y, y.z, z.x, z.y, z.z}};
  return rotation_about(Vec<Camera>{0, 0, 1}, Angle::rad(normal(random))) *
         camera_turn(Angle::rad(normal(random)), Angle::rad(normal(random))) * exact;
}

}  // namespace

Vec<Enu> enu_of(const Site& site, Angle h, Angle d) {
  return {-cos(d) * sin(h), sin(d) * cos(site.latitude) - cos(d) * cos(h) * sin(site.latitude),
          sin(d) * sin(site.latitude) + cos(d) * cos(h) * cos(site.latitude)};
}

Rotation<Camera, Enu> aimed_at(Vec<Enu> z, Angle roll) {
  const Vec<Enu> level = z.cross(Vec<Enu>{0, 0, 1}).unit(), down = z.cross(level);
  const Vec<Enu> x = level * cos(roll) + down * sin(roll), y = down * cos(roll) - level * sin(roll);
  return {{x.x, x.y, x.z, y.x, y.y, y.z, z.x, z.y, z.z}};
}

Vec<Enu> true_refracted_pole(const SessionSpec& spec) {
  double a = 0.0, b = 0.0;
  eraRefco(spec.refraction ? spec.pressure_hpa : 0.0, 10.0, 0.5, 0.55, &a, &b);
  const double true_zenith = ERFA_DPI / 2 - std::abs(spec.site.latitude.rad());
  double z = true_zenith;
  for (int i = 0; i < 20; ++i) z = true_zenith - (a * std::tan(z) + b * std::pow(std::tan(z), 3));
  return enu_from_horizontal(hemisphere(spec.site) > 0 ? Angle() : Angle::deg(180.0), Angle::rad(ERFA_DPI / 2 - z));
}

Vec<Enu> axis_with_error(Vec<Enu> pole, const Site& site, AxisError e) {
  return enu_from_horizontal(azimuth_of(pole) + e.azimuth * hemisphere(site), altitude_of(pole) + e.altitude);
}

namespace {

/// Everything one frame's making needs.
struct Studio {
  const SessionSpec& spec;
  const SessionNoise& noise;
  std::mt19937_64& random;
  Pinhole lens;
  std::vector<Vec<Enu>> axes;
};

/// Stars first: every frame's area is filled where no earlier frame has filled it.
std::vector<FieldStar> scatter_stars(Studio& studio, const Session& session) {
  const SessionSpec& spec = studio.spec;
  std::uniform_real_distribution<double> unit(0.0, 1.0);
  std::normal_distribution<double> error(0.0, 1.0);
  std::vector<FieldStar> field;
  for (std::size_t i = 0; i < spec.frames.size(); ++i) {
    Places here(spec, spec.frames[i].time_s);
    for (int k = 0; k < studio.noise.stars; ++k) {
      const double px = unit(studio.random) * (spec.width_px - 1), py = unit(studio.random) * (spec.height_px - 1);
      const Vec<Enu> place = session.camera_from_enu[i].inverse() * studio.lens.towards(px, py);
      FieldStar star{{},
                     studio.noise.common_error_px * error(studio.random),
                     studio.noise.common_error_px * error(studio.random),
                     unit(studio.random) < studio.noise.outlier_share};
      bool covered = altitude_of(place).deg() < 5.0;
      for (std::size_t j = 0; j < i && !covered; ++j) {
        PixelPoint p;
        // The sky moved by less than the field between frames: the place over the ground, turned back, decides.
        const Angle sky = Angle::rad(hemisphere(spec.site) * kOmega * (spec.frames[i].time_s - spec.frames[j].time_s));
        covered = studio.lens.sees(session.camera_from_enu[j] * (rotation_about(session.pole, sky) * place), p);
      }
      if (covered) continue;
      star.direction = here.icrs(place);
      field.push_back(star);
    }
  }
  return field;
}

/// Mean place of a star over the instants of an exposure (trapezium rule); nothing when it leaves the frame.
std::optional<PixelPoint> mean_place(const Studio& studio, std::vector<Places>& places,
                                     const std::vector<Rotation<Camera, Enu>>& attitudes, Vec<Icrs> star) {
  PixelPoint sum;
  double weight = 0.0;
  for (std::size_t k = 0; k < places.size(); ++k) {
    PixelPoint p;
    if (!studio.lens.sees(attitudes[k] * places[k].observed(star), p)) return {};
    const double w = places.size() > 1 && (k == 0 || k + 1 == places.size()) ? 0.5 : 1.0;
    sum = {sum.x + w * p.x, sum.y + w * p.y};
    weight += w;
  }
  return PixelPoint{sum.x / weight, sum.y / weight};
}

void record_stars(Studio& studio, const std::vector<FieldStar>& field, std::size_t i, MountFrame& frame,
                  const Rotation<Camera, Enu>& attitude) {
  const SessionSpec& spec = studio.spec;
  const SessionNoise& noise = studio.noise;
  std::uniform_real_distribution<double> unit(0.0, 1.0);
  std::normal_distribution<double> normal;
  const int instants = spec.exposure_s > 0.0 ? 21 : 1;  // error of the mean far below the star noise
  std::vector<Places> places;
  std::vector<Rotation<Camera, Enu>> attitudes;
  for (int k = 0; k < instants; ++k) {
    const double t = spec.frames[i].time_s + (instants > 1 ? spec.exposure_s * (k / (instants - 1.0) - 0.5) : 0.0);
    places.emplace_back(spec, t);
    attitudes.push_back(attitude_at(spec, studio.axes, i, t));
  }
  frame.camera_from_icrs =
      start_guess(attitude, places[static_cast<std::size_t>(instants / 2)], noise.start_attitude_error, studio.random);
  for (std::size_t s = 0; s < field.size(); ++s) {
    const auto place = mean_place(studio, places, attitudes, field[s].direction);
    if (!place) continue;
    MountStar star;
    star.measured = {place->x + field[s].error_x + noise.star_sigma_px * normal(studio.random),
                     place->y + field[s].error_y + noise.star_sigma_px * normal(studio.random)};
    if (field[s].outlier) {
      star.measured.x += 40.0 * (unit(studio.random) - 0.5);
      star.measured.y += 40.0 * (unit(studio.random) - 0.5);
    }
    const double variance = noise.stated_sigma_px * noise.stated_sigma_px;
    star.measured_cov = {variance, 0.0, variance};
    star.direction = field[s].direction;
    star.catalogue = static_cast<std::uint32_t>(s);
    frame.stars.push_back(star);
  }
}

}  // namespace

Session make_session(const SessionSpec& spec, const SessionNoise& noise, std::mt19937_64& random) {
  Session session;
  session.pole = true_refracted_pole(spec);
  Studio studio{spec, noise, random, Pinhole(spec), {}};
  for (const AxisError& e : spec.axes) studio.axes.push_back(axis_with_error(session.pole, spec.site, e));
  session.axis = studio.axes[static_cast<std::size_t>(spec.frames.back().axis)];
  for (std::size_t i = 0; i < spec.frames.size(); ++i) {
    session.camera_from_enu.push_back(attitude_at(spec, studio.axes, i, spec.frames[i].time_s));
    session.turns_rad.push_back(turn_at(spec, i, spec.frames[i].time_s));
  }
  MountProblem& problem = session.problem;
  problem.site = spec.site;
  problem.site.longitude = spec.site.longitude + noise.longitude_offset;
  problem.weather.pressure_hpa = noise.believed_pressure_hpa > 0.0 ? noise.believed_pressure_hpa : spec.pressure_hpa;
  problem.weather.refraction = noise.believed_refraction && spec.refraction;
  problem.clock_sigma_s = 0.0;
  problem.site_sigma = Angle();
  const auto field = scatter_stars(studio, session);
  std::normal_distribution<double> normal;
  for (std::size_t i = 0; i < spec.frames.size(); ++i) {
    MountFrame frame;
    frame.name = "frame " + std::to_string(i);
    const double stamp = spec.frames[i].time_s + noise.clock_offset_s + noise.stamp_sigma_s * normal(random);
    frame.mid_time = UtcTime::from_calendar(spec.start).plus_seconds(stamp);
    frame.mid_time_sigma_s = noise.stamp_sigma_s;
    frame.exposure_s = spec.exposure_s;
    frame.width_px = spec.width_px;
    frame.height_px = spec.height_px;
    frame.lens = centred_lens(Projection::rectilinear, studio.lens.focal_px, spec.width_px, spec.height_px);
    frame.lens.k1 = spec.k1 + noise.believed_k1_offset;
    frame.lens.mirrored = spec.mirrored;
    record_stars(studio, field, i, frame, session.camera_from_enu[i]);
    problem.frames.push_back(std::move(frame));
  }
  return session;
}

SkyError error_against(const MountSolution& solution, Vec<Enu> truth, const Site& site) {
  const Angle dz = (azimuth_of(solution.axis) - azimuth_of(truth)).wrapped_signed() * hemisphere(site);
  return {altitude_of(solution.axis) - altitude_of(truth), dz * cos(altitude_of(truth))};
}

}  // namespace polewright::test
