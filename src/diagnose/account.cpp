#include "diagnose/account.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace polewright::diagnose {
namespace {

constexpr double kTurn = 2.0 * std::numbers::pi;

Eigen::Index width(Term term) {
  return term == Term::wave ? 2 : 1;
}

double sinc(double x) {
  return std::abs(x) < 1e-6 ? 1.0 : std::sin(x) / x;
}
double sinhc(double x) {
  return std::abs(x) < 1e-6 ? 1.0 : std::sinh(x) / x;
}

Eigen::MatrixXd orthonormal(const Eigen::MatrixXd& a) {
  Eigen::ColPivHouseholderQR<Eigen::MatrixXd> qr(a);
  qr.setThreshold(1e-9);
  return qr.householderQ() * Eigen::MatrixXd::Identity(a.rows(), qr.rank());
}

Eigen::MatrixXd orthonormal_beyond(const Eigen::MatrixXd& basis, const Eigen::MatrixXd& columns) {
  Eigen::MatrixXd rest = columns - basis * (basis.transpose() * columns);
  Eigen::MatrixXd out(columns.rows(), columns.cols());
  Eigen::Index kept = 0;
  for (Eigen::Index j = 0; j < rest.cols(); ++j) {
    for (Eigen::Index k = 0; k < kept; ++k) rest.col(j) -= out.col(k) * out.col(k).dot(rest.col(j));
    const double length = rest.col(j).norm();
    // A column that the design already has nearly in full would turn rounding into a finding.
    if (length > 1e-4 * columns.col(j).norm()) out.col(kept++) = rest.col(j) / length;
  }
  return out.leftCols(kept);
}

}  // namespace

int parameters(const Component& c) {
  switch (c.term) {
    case Term::drift:
    case Term::bend:
    case Term::bend3:
      return 3;
    case Term::step:
    case Term::blip:
    case Term::settling:
      return 4;
    case Term::wave:
      return 3;
  }
  return 0;
}

Eigen::RowVectorXd columns_at(const Component& c, const Series& s, double t, double exposure_s) {
  const double since = t - s.time_s[0];
  const double angle = kSiderealRate_rad_per_s * since;
  Eigen::RowVectorXd row(width(c.term));
  switch (c.term) {
    case Term::drift:
      row[0] = since / 60.0;
      break;
    case Term::bend:
      row[0] = 1.0 - std::cos(angle);
      break;
    case Term::bend3:
      row[0] = angle - std::sin(angle);
      break;
    case Term::step:
      row[0] = t >= s.time_s[c.at] ? 1.0 : 0.0;
      break;
    case Term::blip:
      row[0] = t == s.time_s[c.at] ? 1.0 : 0.0;
      break;
    case Term::settling:
      row[0] = std::exp(-since / c.scale_s) * sinhc(0.5 * exposure_s / c.scale_s);
      break;
    case Term::wave: {
      const double smeared = sinc(0.5 * kTurn * exposure_s / c.scale_s);
      row[0] = smeared * std::sin(kTurn * t / c.scale_s);
      row[1] = smeared * std::cos(kTurn * t / c.scale_s);
      break;
    }
  }
  return row;
}

Eigen::MatrixXd columns(const Component& c, const Series& s) {
  Eigen::MatrixXd out(s.size(), width(c.term));
  for (Eigen::Index i = 0; i < s.size(); ++i) {
    if (c.term == Term::step || c.term == Term::blip)
      out(i, 0) = s.weight[i] * (c.term == Term::step ? i >= c.at : i == c.at);
    else
      out.row(i) = s.weight[i] * columns_at(c, s, s.time_s[i], s.exposure_s[i]);
  }
  return out;
}

Eigen::MatrixXd design(const Series& s, const std::vector<Component>& components, bool with_waves) {
  Eigen::Index n = 1;
  for (const Component& c : components)
    if (with_waves || c.term != Term::wave) n += width(c.term);
  Eigen::MatrixXd a(s.size(), n);
  a.col(0) = s.weight;
  Eigen::Index at = 1;
  for (const Component& c : components) {
    if (!with_waves && c.term == Term::wave) continue;
    a.middleCols(at, width(c.term)) = columns(c, s);
    at += width(c.term);
  }
  return a;
}

double Account::bic() const {
  const double n = static_cast<double>(residual.size());
  return n * std::log(std::max(rss, n) / n) + parameter_count * std::log(n);
}

double Account::redness() const {
  const Eigen::Index n = residual.rows();
  if (n < 8 || rss <= 0.0) return 0.0;
  const double lagged = residual.topRows(n - 1).cwiseProduct(residual.bottomRows(n - 1)).sum();
  return std::clamp(lagged / rss, 0.0, 0.95);
}

Eigen::Index Account::row_of(std::size_t i) const {
  Eigen::Index row = 1;
  for (std::size_t k = 0; k < i; ++k) row += width(components[k].term);
  return row;
}

Displacement Account::moved(std::size_t i, const Series& s, double from_s, double to_s) const {
  const Eigen::Index n = width(components[i].term);
  const Eigen::RowVectorXd change = columns_at(components[i], s, to_s, 0.0) - columns_at(components[i], s, from_s, 0.0);
  return s.px_from_y * (change * coefficients.middleRows(row_of(i), n)).transpose();
}

Account fit(const Series& s, std::vector<Component> components) {
  Account out;
  Eigen::Index rows = 1;
  for (const Component& c : components) {
    rows += width(c.term);
    out.parameter_count += parameters(c);
  }
  out.coefficients = Eigen::MatrixXd::Zero(rows, 3);
  const Eigen::MatrixXd tracking = design(s, components), others = design(s, components, false);
  out.coefficients.col(0) = tracking.colPivHouseholderQr().solve(s.y.col(0));
  const Eigen::MatrixXd solved = others.colPivHouseholderQr().solve(s.y.rightCols(2));
  Eigen::Index from = 1, to = 1;
  out.coefficients.block(0, 1, 1, 2) = solved.row(0);
  for (const Component& c : components) {
    if (c.term != Term::wave) {
      out.coefficients.block(to, 1, width(c.term), 2) = solved.middleRows(from, width(c.term));
      from += width(c.term);
    }
    to += width(c.term);
  }
  out.residual = s.y - tracking * out.coefficients;
  out.rss = out.residual.squaredNorm();
  out.components = std::move(components);
  return out;
}

Projector::Projector(const Series& s, const std::vector<Component>& components)
    : tracking_(orthonormal(design(s, components))), others_(orthonormal(design(s, components, false))) {}

double Projector::gain(const Eigen::MatrixXd& residual, const Eigen::MatrixXd& added, bool tracking_only) const {
  const double along = (orthonormal_beyond(tracking_, added).transpose() * residual.col(0)).squaredNorm();
  if (tracking_only) return along;
  return along + (orthonormal_beyond(others_, added).transpose() * residual.rightCols(2)).squaredNorm();
}

Eigen::MatrixXd Projector::projected(const Eigen::MatrixXd& residual, const Eigen::MatrixXd& added) const {
  return orthonormal_beyond(others_, added).transpose() * residual;
}

}  // namespace polewright::diagnose
