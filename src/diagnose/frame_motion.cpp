#include "diagnose/frame_motion.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace polewright::diagnose {
namespace {

struct Movements {
  Displacement steady = Displacement::Zero(), periodic = Displacement::Zero(), settling = Displacement::Zero();
  Displacement whole = Displacement::Zero();  ///< even trail with the same spread as all of them together
};

/// The even trail that draws stars out as much as this way does: 12 times its spread, along its longest direction. What
/// goes and comes back within an exposure ends where it began and still draws a trail.
Displacement even_trail(const Eigen::MatrixXd& way) {
  const Eigen::MatrixXd off = way.rowwise() - way.colwise().mean();
  const Eigen::Matrix3d spread = off.transpose() * off / static_cast<double>(way.rows());
  const Eigen::SelfAdjointEigenSolver<Eigen::Matrix3d> axes(spread);
  const Displacement trail = axes.eigenvectors().col(2) * std::sqrt(12.0 * std::max(0.0, axes.eigenvalues()[2]));
  const Displacement ends = (way.row(way.rows() - 1) - way.row(0)).transpose();
  return trail.dot(ends) < 0.0 ? Displacement(-trail) : trail;
}

Movements movements_during(const NightFrame& f, const Series& s, const Account& account) {
  Movements m;
  if (!f.time_s || s.size() < 2) return m;
  constexpr int kMoments = 24;  // of the exposure; the spread of an even motion comes out right to 0.1 %
  const double from = *f.time_s - 0.5 * f.exposure_s, to = *f.time_s + 0.5 * f.exposure_s;
  Eigen::MatrixXd way = Eigen::MatrixXd::Zero(kMoments, 3);
  for (std::size_t i = 0; i < account.components.size(); ++i) {
    const Term term = account.components[i].term;
    if (term == Term::step || term == Term::blip) continue;  // sudden: says nothing about how long it took
    const Displacement moved = account.moved(i, s, from, to);
    (term == Term::wave ? m.periodic : term == Term::settling ? m.settling : m.steady) += moved;
    for (int k = 0; k < kMoments; ++k)
      way.row(k) += account.moved(i, s, from, from + (k + 0.5) / kMoments * f.exposure_s).transpose();
  }
  m.whole = even_trail(way);
  return m;
}

void add_part(const std::string& cause, const Displacement& moved, const Displacement& whole, const NightField& field,
              FrameMotion& out) {
  const double trail = worst_of(moved, field);
  if (trail <= 0.0) return;
  out.parts.push_back({cause, trail, std::max(0.0, moved.dot(whole) / std::max(whole.squaredNorm(), 1e-12))});
}

void take_apart(const Movements& m, const NightFrame& f, const std::optional<SteadyDrift>& drift,
                const NightField& field, FrameMotion& out) {
  out.expected = m.whole;
  if (drift) {
    const SteadyParts steady = separable(*drift) ? split_steady(m.steady, f.exposure_s, field)
                                                 : SteadyParts{Displacement::Zero(), Displacement::Zero(), m.steady};
    add_part("axis misalignment", steady.axis, out.expected, field, out);
    add_part(rate_word(*drift), steady.rate, out.expected, field, out);
    add_part(whole_drift_word(*drift), steady.rest, out.expected, field, out);
  }
  add_part("periodic error", m.periodic, out.expected, field, out);
  add_part("settling", m.settling, out.expected, field, out);
  double all = 0.0;
  for (const Part& p : out.parts) all += p.share;
  for (Part& p : out.parts) p.share = all > 0.0 ? p.share / all : 0.0;
}

double sigma_of(const Covariance2& c) {
  return std::sqrt(0.5 * (c.xx + c.yy));
}

/// Measured trail at the centre, turned to the side of the expected one: a trail has no front end.
Eigen::Vector2d towards(const MeasuredTrail& t, const Displacement& expected) {
  const Eigen::Vector2d o(t.x_px, t.y_px);
  return o.dot(expected.head<2>()) < 0.0 ? Eigen::Vector2d(-o) : o;
}

/// How well expected trails are met beyond what the pixels' own noise lets one see, 1σ per axis.
double surplus_scatter(const std::vector<NightFrame>& frames, const std::vector<FrameMotion>& motions) {
  std::vector<double> off, noise;
  for (std::size_t i = 0; i < frames.size(); ++i) {
    if (!frames[i].trail) continue;
    const Eigen::Vector2d d = towards(*frames[i].trail, motions[i].expected) - motions[i].expected.head<2>();
    off.push_back(d.squaredNorm());
    noise.push_back(std::pow(sigma_of(frames[i].trail->cov), 2));
  }
  // The median of a two-dimensional squared error is 2 ln 2 σ².
  return std::sqrt(std::max(0.0, median_of(off) / (2.0 * std::numbers::ln2) - median_of(noise)));
}

void tell_angle(const Eigen::Vector2d& v, FrameMotion& out) {
  if (v.norm() <= 0.0) return;
  double deg = std::atan2(v.y(), v.x()) * 180.0 / std::numbers::pi;
  if (deg <= -90.0) deg += 180.0;
  if (deg > 90.0) deg -= 180.0;
  out.angle_deg = deg;
}

/// Pixels and sequence together where they agree; the pixels alone where they do not.
void weigh(const NightFrame& f, double surplus, const NightField& field, const NightOptions& options, bool modelled,
           double wander_px, FrameMotion& out) {
  const Eigen::Vector2d expected = out.expected.head<2>();
  if (!f.trail) {
    if (!modelled || f.spoiled || !f.place) return;
    out.trail_px = worst_of(out.expected, field);
    out.trail_sigma_px = wander_px;
    out.from_sequence = true;
    tell_angle(expected, out);
    return;
  }
  const Eigen::Vector2d seen = towards(*f.trail, out.expected);
  const double noise = std::max(sigma_of(f.trail->cov), 1e-3);
  const double apart = (seen - expected).norm();
  const double spread = std::hypot(noise, surplus);
  out.excess_px = apart;
  out.excess = apart > options.least_sigma * spread && apart > options.least_share_of_tolerance * options.tolerance_px;
  out.trail_px = f.trail->worst_px;
  out.trail_sigma_px = f.trail->worst_sigma_px;
  tell_angle(seen, out);
  if (!modelled || out.excess) return;
  const double own = 1.0 / (noise * noise), sequence = 1.0 / std::max(surplus * surplus, 0.25 * noise * noise);
  const Eigen::Vector2d both = (seen * own + expected * sequence) / (own + sequence);
  // The turn of the field comes from whichever of the two knows more.
  out.trail_px = own > sequence && seen.norm() > 0.0 ? f.trail->worst_px * both.norm() / seen.norm()
                                                     : worst_of({both.x(), both.y(), out.expected.z()}, field);
  out.trail_sigma_px = f.trail->worst_sigma_px * std::sqrt(own / (own + sequence));
  out.from_sequence = sequence > 4.0 * own;
  tell_angle(both, out);
}

}  // namespace

double wander_px(const Series& s, const Account& account) {
  if (account.residual.rows() == 0) return 0.0;  // nothing to compare with
  const Eigen::MatrixXd px = account.residual * s.px_from_y.transpose();
  return std::sqrt(px.leftCols(2).squaredNorm() / (2.0 * static_cast<double>(s.size())));
}

bool separable(const SteadyDrift& d) {
  const bool axis = d.axis_offset && *d.axis_offset > d.axis_offset_sigma.value_or(Angle()) * 3.0;
  const bool rate = d.rate_ratio && std::abs(*d.rate_ratio - 1.0) > 3.0 * d.rate_sigma.value_or(0.0);
  return axis || rate;
}

std::string rate_word(const SteadyDrift& d) {
  if (!d.rate_ratio) return "unexplained";
  // Places fitted as a shift and a roll know the rate of a wide field to some percent.
  if (std::abs(*d.rate_ratio) < std::max(0.08, 3.0 * d.rate_sigma.value_or(0.0))) return "not tracking";
  return *d.rate_ratio < 0.0 ? "reversed tracking" : "tracking rate";
}

std::string whole_drift_word(const SteadyDrift& d) {
  if (!d.turn_ratio) return "unexplained";
  // The sky's own turn, whatever the direction of the camera: a stopped mount shows all of it, a reversed one twice.
  const double near = std::max(0.03, 3.0 * d.turn_ratio_sigma.value_or(0.0));
  if (near < 0.2 && std::abs(*d.turn_ratio - 1.0) < near) return "not tracking";
  if (near < 0.2 && std::abs(*d.turn_ratio - 2.0) < near) return "reversed tracking";
  return "unexplained";
}

std::vector<FrameMotion> frame_motions(const std::vector<NightFrame>& frames, const Series& series,
                                       const Finding& finding, const std::optional<SteadyDrift>& drift,
                                       const NightField& field, const NightOptions& options) {
  std::vector<FrameMotion> out(frames.size());
  for (std::size_t i = 0; i < frames.size(); ++i)
    take_apart(movements_during(frames[i], series, finding.account), frames[i], drift, field, out[i]);
  const double surplus = surplus_scatter(frames, out);
  const bool modelled = series.size() >= 4;
  const double wander = wander_px(series, finding.account);
  for (std::size_t i = 0; i < frames.size(); ++i) weigh(frames[i], surplus, field, options, modelled, wander, out[i]);
  return out;
}

}  // namespace polewright::diagnose
