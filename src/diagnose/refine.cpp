#include "diagnose/refine.hpp"

#include <algorithm>
#include <array>
#include <cmath>

namespace polewright::diagnose {
namespace {

using Eigen::Index;
using Eigen::MatrixXd;
using Eigen::VectorXd;

/// Six-point Gauss–Legendre rule over an exposure (Abramowitz and Stegun 25.4.30): exact for a movement up to its
/// eleventh power in time.
struct Node {
  double at, weight;  ///< −1 to 1; weights sum to 1
};
constexpr std::array<Node, 6> kNodes{{{-0.9324695142031521, 0.0856622461895852},
                                      {-0.6612093864662645, 0.1803807865240693},
                                      {-0.2386191860831969, 0.2339569672863455},
                                      {0.2386191860831969, 0.2339569672863455},
                                      {0.6612093864662645, 0.1803807865240693},
                                      {0.9324695142031521, 0.0856622461895852}}};
constexpr double kHuber = 2.5;       ///< sigmas beyond which a trail (a gust's) stops pulling harder
constexpr double kSmallStep = 1e-4;  ///< relative, for the derivative by the period

struct Unknowns {
  std::vector<Component> components;
  MatrixXd coefficients;
  Eigen::Vector2d shape = Eigen::Vector2d::Zero();  ///< square of the trail that star images show at rest
};

/// Residuals in sigmas and their derivatives.
struct Linearised {
  VectorXd residual;
  MatrixXd jacobian;
  double places = 0.0;  ///< sum of squares of the places' part
  [[nodiscard]] double cost() const { return residual.squaredNorm(); }
};

/// Columns at the nodes of one exposure less their mean: what moves while the shutter is open. Steps and blips are
/// left out, since nothing says when in the exposure they fell.
MatrixXd moving_columns(const Series& s, const std::vector<Component>& components, Index rows, Index frame) {
  MatrixXd out = MatrixXd::Zero(kNodes.size(), rows);
  Index from = 1;
  for (const Component& c : components) {
    const Index n = c.term == Term::wave ? 2 : 1;
    if (c.term != Term::step && c.term != Term::blip)
      for (std::size_t k = 0; k < kNodes.size(); ++k)
        out.block(static_cast<Index>(k), from, 1, n) =
            columns_at(c, s, s.time_s[frame] + 0.5 * s.exposure_s[frame] * kNodes[k].at, 0.0);
    from += n;
  }
  Eigen::RowVectorXd mean = Eigen::RowVectorXd::Zero(out.cols());
  for (std::size_t k = 0; k < kNodes.size(); ++k) mean += kNodes[k].weight * out.row(static_cast<Index>(k));
  return out.rowwise() - mean;
}

/// Square of the even trail with the same second moment: 12 times the spread of the way gone.
Eigen::Vector2d square_of(const MatrixXd& way) {
  Eigen::Vector2d out = Eigen::Vector2d::Zero();
  for (std::size_t k = 0; k < kNodes.size(); ++k) {
    const double x = way(static_cast<Index>(k), 0), y = way(static_cast<Index>(k), 1);
    out += 12.0 * kNodes[k].weight * Eigen::Vector2d(x * x - y * y, 2.0 * x * y);
  }
  return out;
}
MatrixXd way_of(const Series& s, const MatrixXd& moving, const MatrixXd& coefficients) {
  return moving * coefficients * s.px_from_y.topRows(2).transpose();
}

class JointFit {
 public:
  JointFit(const Series& s, const Account& a, bool with_trails) : s_(s), with_trails_(with_trails) {
    best_ = {a.components, a.coefficients};
    for (std::size_t i = 0; i < a.components.size(); ++i)
      if (a.components[i].term == Term::wave) {
        waves_.push_back(i);
        peaks_hz_.push_back(1.0 / a.components[i].scale_s);
      }
    map_unknowns(a);
    // The tracking direction has its own noise: what a drive leaves is not what the air leaves.
    const double n = static_cast<double>(s.size());
    const auto noise = [&](const auto& columns, double count, double unknowns) {
      return std::sqrt(std::max(0.25, columns.squaredNorm() / std::max(1.0, count - unknowns)));
    };
    const double rows = static_cast<double>(a.coefficients.rows());
    const double tracking = noise(a.residual.col(0), n, rows + static_cast<double>(waves_.size()));
    const double others =
        noise(a.residual.rightCols(2), 2.0 * n, 2.0 * (rows - 2.0 * static_cast<double>(waves_.size())));
    noise_ = {tracking, others, others};
  }

  void solve() {
    // The trails' own scatter is judged against a model that gets better with every round.
    for (int round = 0; round < (with_trails_ ? 4 : 1); ++round) {
      if (with_trails_) weigh_trails();
      descend();
    }
  }

  [[nodiscard]] const Unknowns& best() const { return best_; }
  [[nodiscard]] double places_cost() const { return linearise(best_).places; }
  [[nodiscard]] Index unknown_count() const { return count_; }

  [[nodiscard]] std::vector<WaveError> errors(const Account& a) const {
    std::vector<WaveError> out(a.components.size());
    const MatrixXd j = linearise(best_).jacobian;
    const VectorXd scale = j.colwise().norm().cwiseMax(1e-12).cwiseInverse();
    const MatrixXd scaled = j * scale.asDiagonal();
    const MatrixXd covariance = scale.asDiagonal() *
                                (scaled.transpose() * scaled).completeOrthogonalDecomposition().pseudoInverse() *
                                scale.asDiagonal();
    for (std::size_t w = 0; w < waves_.size(); ++w) {
      const Index row = a.row_of(waves_[w]), k = place_of_(row, 0), period = periods_from_ + static_cast<Index>(w);
      const Eigen::Vector2d along = best_.coefficients.block<2, 1>(row, 0).normalized();
      out[waves_[w]] = {std::sqrt(covariance(period, period)) * best_.components[waves_[w]].scale_s,
                        std::sqrt(std::max(0.0, along.dot(covariance.block<2, 2>(k, k) * along)))};
    }
    return out;
  }

 private:
  /// Which entry of the unknowns each coefficient is: waves have one only in the tracking direction.
  void map_unknowns(const Account& a) {
    place_of_ = Eigen::MatrixXi::Constant(a.coefficients.rows(), 3, -1);
    std::vector<bool> wave_row(static_cast<std::size_t>(a.coefficients.rows()), false);
    for (const std::size_t w : waves_)
      for (Index k = 0; k < 2; ++k) wave_row[static_cast<std::size_t>(a.row_of(w) + k)] = true;
    int next = 0;
    for (Index c = 0; c < 3; ++c)
      for (Index r = 0; r < a.coefficients.rows(); ++r)
        if (c == 0 || !wave_row[static_cast<std::size_t>(r)]) place_of_(r, c) = next++;
    periods_from_ = next;
    shape_from_ = periods_from_ + static_cast<Index>(waves_.size());
    count_ = shape_from_ + (with_trails_ ? 2 : 0);
  }

  [[nodiscard]] MatrixXd moving(const std::vector<Component>& components, Index frame) const {
    return moving_columns(s_, components, place_of_.rows(), frame);
  }

  void add_places(const Unknowns& u, Linearised& out) const {
    const MatrixXd a = design(s_, u.components);
    const MatrixXd left = s_.y - a * u.coefficients;
    for (Index c = 0; c < 3; ++c) {
      const Index row = c * s_.size();
      out.residual.segment(row, s_.size()) = left.col(c) / noise_[static_cast<std::size_t>(c)];
      for (Index r = 0; r < a.cols(); ++r)
        if (place_of_(r, c) >= 0)
          out.jacobian.block(row, place_of_(r, c), s_.size(), 1) = -a.col(r) / noise_[static_cast<std::size_t>(c)];
    }
    for (std::size_t w = 0; w < waves_.size(); ++w) {
      const MatrixXd longer = design(s_, with_longer(u.components, w));
      out.jacobian.block(0, periods_from_ + static_cast<Index>(w), s_.size(), 1) =
          -(longer - a) * u.coefficients.col(0) / (kSmallStep * noise_[0]);
    }
    out.places = out.residual.head(3 * s_.size()).squaredNorm();
  }

  void add_trails(const Unknowns& u, Linearised& out) const {
    const MatrixXd px = s_.px_from_y.topRows(2);
    for (Index i = 0; i < s_.size(); ++i) {
      const double sigma = trail_sigma_[i];
      if (sigma <= 0.0) continue;
      const Index row = 3 * s_.size() + 2 * i;
      const MatrixXd b = moving(u.components, i), way = way_of(s_, b, u.coefficients);
      const Eigen::Vector2d left = s_.smear.row(i).transpose() - square_of(way) - u.shape;
      const double soft = huber(left.norm() / sigma) / sigma;
      out.residual.segment<2>(row) = left * soft;
      for (Index r = 1; r < b.cols(); ++r)
        for (Index c = 0; c < 3; ++c) {
          if (place_of_(r, c) < 0) continue;
          Eigen::Vector2d d = Eigen::Vector2d::Zero();
          for (std::size_t k = 0; k < kNodes.size(); ++k) {
            const Index at = static_cast<Index>(k);
            d += 24.0 * kNodes[k].weight * b(at, r) *
                 Eigen::Vector2d(way(at, 0) * px(0, c) - way(at, 1) * px(1, c),
                                 way(at, 1) * px(0, c) + way(at, 0) * px(1, c));
          }
          out.jacobian.block<2, 1>(row, place_of_(r, c)) = -d * soft;
        }
      for (std::size_t w = 0; w < waves_.size(); ++w)
        out.jacobian.block<2, 1>(row, periods_from_ + static_cast<Index>(w)) =
            -(square_of(way_of(s_, moving(with_longer(u.components, w), i), u.coefficients)) - square_of(way)) * soft /
            kSmallStep;
      out.jacobian.block<2, 2>(row, shape_from_) = -soft * Eigen::Matrix2d::Identity();
    }
  }

  [[nodiscard]] std::vector<Component> with_longer(std::vector<Component> components, std::size_t wave) const {
    components[waves_[wave]].scale_s *= 1.0 + kSmallStep;
    return components;
  }
  /// Factor on a residual so that its square is Huber's loss.
  static double huber(double sigmas) {
    return sigmas <= kHuber ? 1.0 : std::sqrt(2.0 * kHuber * sigmas - kHuber * kHuber) / sigmas;
  }

  [[nodiscard]] Linearised linearise(const Unknowns& u) const {
    Linearised out;
    const Index rows = (with_trails_ ? 5 : 3) * s_.size();
    out.residual = VectorXd::Zero(rows);
    out.jacobian = MatrixXd::Zero(rows, count_);
    add_places(u, out);
    if (with_trails_) add_trails(u, out);
    return out;
  }

  /// Stated sigmas of trails leave out what a star profile does not know of; what is seen is added.
  void weigh_trails() {
    std::vector<double> off, stated;
    for (Index i = 0; i < s_.size(); ++i) {
      if (s_.smear_sigma[i] <= 0.0) continue;
      const MatrixXd way = way_of(s_, moving(best_.components, i), best_.coefficients);
      off.push_back((s_.smear.row(i).transpose() - square_of(way) - best_.shape).squaredNorm());
      stated.push_back(std::pow(s_.smear_sigma[i], 2));
    }
    // The median of a two-dimensional squared error is 2 ln 2 σ².
    const double surplus = std::max(0.0, median_of(off) / (2.0 * std::log(2.0)) - median_of(stated));
    trail_sigma_ = s_.smear_sigma;
    for (double& sigma : trail_sigma_) sigma = sigma > 0.0 ? std::sqrt(sigma * sigma + surplus) : 0.0;
  }

  [[nodiscard]] Unknowns stepped(const Unknowns& u, const VectorXd& step) const {
    Unknowns out = u;
    for (Index r = 0; r < place_of_.rows(); ++r)
      for (Index c = 0; c < 3; ++c)
        if (place_of_(r, c) >= 0) out.coefficients(r, c) += step[place_of_(r, c)];
    for (std::size_t w = 0; w < waves_.size(); ++w)
      out.components[waves_[w]].scale_s *= std::exp(std::clamp(step[periods_from_ + static_cast<Index>(w)], -0.1, 0.1));
    if (with_trails_) out.shape += step.segment<2>(shape_from_);
    return out;
  }

  /// A wave that leaves its peak of the spectrum is another wave; two of them in one peak tear each other apart.
  [[nodiscard]] bool strayed(const Unknowns& u) const {
    for (std::size_t w = 0; w < waves_.size(); ++w)
      if (std::abs(1.0 / u.components[waves_[w]].scale_s - peaks_hz_[w]) * s_.span_s() > 0.5) return true;
    return false;
  }

  /// Levenberg–Marquardt; the damping scales with each unknown's own curvature.
  void descend() {
    double damping = 1e-4;
    Linearised now = linearise(best_);
    for (int i = 0; i < 40 && damping < 1e6; ++i) {
      const MatrixXd normal = now.jacobian.transpose() * now.jacobian;
      MatrixXd damped = normal;
      damped.diagonal() +=
          damping * normal.diagonal() + VectorXd::Constant(count_, 1e-12 * normal.diagonal().maxCoeff());
      const Unknowns tried = stepped(best_, -damped.ldlt().solve(now.jacobian.transpose() * now.residual));
      if (strayed(tried)) {
        damping *= 10.0;
        continue;
      }
      Linearised then = linearise(tried);
      if (!(then.cost() < now.cost())) {
        damping *= 10.0;
        continue;
      }
      const bool settled = now.cost() - then.cost() < 1e-7 * now.cost();
      best_ = tried;
      now = std::move(then);
      damping = std::max(1e-9, 0.1 * damping);
      if (settled) return;
    }
  }

  const Series& s_;
  bool with_trails_;
  Unknowns best_;
  std::vector<std::size_t> waves_;
  std::vector<double> peaks_hz_;  ///< where the spectrum showed them
  std::array<double, 3> noise_{};
  VectorXd trail_sigma_;
  Eigen::MatrixXi place_of_;
  Index periods_from_ = 0, shape_from_ = 0, count_ = 0;
};

void take_over(const Series& s, const Unknowns& u, Account& account) {
  account.components = u.components;
  account.coefficients = u.coefficients;
  account.residual = s.y - design(s, u.components) * u.coefficients;
  account.rss = account.residual.squaredNorm();
}

}  // namespace

std::vector<WaveError> refine_waves(const Series& s, Account& account) {
  if (std::none_of(account.components.begin(), account.components.end(),
                   [](const Component& c) { return c.term == Term::wave; }))
    return std::vector<WaveError>(account.components.size());
  JointFit places(s, account, false);
  places.solve();
  take_over(s, places.best(), account);
  if ((s.smear_sigma.array() > 0.0).count() >= 6) {
    JointFit both(s, account, true);
    both.solve();
    // Trails that disagree get a larger scatter and little weight by themselves; this is for those that agree with one
    // another on a movement the places deny. The places' noise is known from a few dozen figures only, hence the wide
    // gate.
    const double unknowns = static_cast<double>(both.unknown_count());
    if (both.places_cost() - places.places_cost() < unknowns + 8.0 * std::sqrt(2.0 * unknowns)) {
      take_over(s, both.best(), account);
      return both.errors(account);
    }
  }
  return places.errors(account);
}

double trail_scatter_px4(const Series& s, const Account& account) {
  std::vector<double> first, second, off, stated;
  for (Index i = 0; i < s.size(); ++i) {
    if (s.smear_sigma[i] <= 0.0) continue;
    const MatrixXd moving = moving_columns(s, account.components, account.coefficients.rows(), i);
    const Eigen::Vector2d left = s.smear.row(i).transpose() - square_of(way_of(s, moving, account.coefficients));
    first.push_back(left.x());
    second.push_back(left.y());
    stated.push_back(std::pow(s.smear_sigma[i], 2));
  }
  const Eigen::Vector2d shape(median_of(first), median_of(second));
  for (std::size_t k = 0; k < first.size(); ++k)
    off.push_back((Eigen::Vector2d(first[k], second[k]) - shape).squaredNorm());
  // The median of a two-dimensional squared error is 2 ln 2 σ².
  return std::max(median_of(off) / (2.0 * std::log(2.0)), median_of(stated));
}

}  // namespace polewright::diagnose
