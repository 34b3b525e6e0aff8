#include "mount/normal_equations.hpp"

#include <Eigen/Cholesky>
#include <vector>

namespace polewright::mount_detail {
namespace {

/// Observations of one shared error, by frame and star.
struct Member {
  std::uint32_t frame, star;
};

std::vector<std::vector<Member>> members_of_commons(const StarData& data, const Terms& terms) {
  std::vector<std::vector<Member>> members(data.commons);
  for (std::uint32_t f = 0; f < data.frames.size(); ++f)
    for (std::uint32_t i = 0; i < data.frames[f].size(); ++i)
      if (terms[f][i].valid) members[data.frames[f][i].common].push_back({f, i});
  return members;
}

/// Collects what shared errors take away, information −= Σ u·cov·uᵀ, and takes it away many at a time.
class SharedLosses {
 public:
  explicit SharedLosses(Eigen::MatrixXd& information)
      : information_(information), columns_(Eigen::MatrixXd::Zero(information.rows(), 2 * kAtOnce)) {}

  /// u: derivativeᵀ · information of all observations of the error, one block row per frame, lens last.
  void add(const Eigen::Matrix<double, Eigen::Dynamic, 2>& u, const Eigen::Matrix2d& cov) {
    columns_.middleCols<2>(2 * used_).noalias() = u * cov.llt().matrixL().toDenseMatrix();
    if (++used_ == kAtOnce) take();
  }

  void take() {
    if (used_ == 0) return;
    information_.selfadjointView<Eigen::Upper>().rankUpdate(columns_.leftCols(2 * used_), -1.0);
    used_ = 0;
  }

 private:
  static constexpr Eigen::Index kAtOnce = 64;
  Eigen::MatrixXd& information_;
  Eigen::MatrixXd columns_;
  Eigen::Index used_ = 0;
};

}  // namespace

NormalEquations sum_normal_equations(const StarData& data, const Terms& terms, const NoiseModel& noise,
                                     bool final_weights) {
  const auto frames = static_cast<Eigen::Index>(data.frames.size());
  const Eigen::Index lens = 3 * frames, n = lens + kLensParameters;
  NormalEquations eq{Eigen::MatrixXd::Zero(n, n), Eigen::VectorXd::Zero(n)};
  const CommonSums sums = sum_commons(noise, data, terms, final_weights);
  const auto members = members_of_commons(data, terms);
  SharedLosses losses(eq.information);
  Eigen::Matrix<double, Eigen::Dynamic, 2> u(n, 2);
  for (std::size_t c = 0; c < data.commons; ++c) {
    u.setZero();
    for (const auto [f, i] : members[c]) {
      const StarTerm& t = terms[f][i];
      const Eigen::Matrix2d w = observation_weight(noise, f, i, final_weights) * data.frames[f][i].information;
      const Eigen::Matrix<double, kStarParameters, 2> jw = t.jacobian.transpose() * w;
      const Eigen::Index row = 3 * static_cast<Eigen::Index>(f);
      eq.information.block<3, 3>(row, row) += jw.topRows<3>() * t.jacobian.leftCols<3>();
      eq.information.block<3, kLensParameters>(row, lens) += jw.topRows<3>() * t.jacobian.rightCols<kLensParameters>();
      eq.information.bottomRightCorner<kLensParameters, kLensParameters>() +=
          jw.bottomRows<kLensParameters>() * t.jacobian.rightCols<kLensParameters>();
      eq.moment.segment<3>(row) += jw.topRows<3>() * t.residual_px;
      eq.moment.tail<kLensParameters>() += jw.bottomRows<kLensParameters>() * t.residual_px;
      u.middleRows<3>(row) += jw.topRows<3>();
      u.bottomRows<kLensParameters>() += jw.bottomRows<kLensParameters>();
    }
    if (noise.common_error_px <= 0.0 || members[c].empty()) continue;
    const Eigen::Matrix2d cov = common_covariance(noise, sums, c);
    eq.moment.noalias() -= u * (cov * sums.moment[c]);
    losses.add(u, cov);
  }
  losses.take();
  eq.information.triangularView<Eigen::StrictlyLower>() = eq.information.transpose();
  return eq;
}

}  // namespace polewright::mount_detail
