#include "mount/normal_equations.hpp"

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

}  // namespace

NormalEquations sum_normal_equations(const StarData& data, const Terms& terms, const NoiseModel& noise,
                                     bool final_weights) {
  const auto frames = static_cast<Eigen::Index>(data.frames.size());
  const Eigen::Index lens = 3 * frames, n = lens + kLensParameters;
  NormalEquations eq{Eigen::MatrixXd::Zero(n, n), Eigen::VectorXd::Zero(n)};
  const CommonSums sums = sum_commons(noise, data, terms, final_weights);
  const auto members = members_of_commons(data, terms);
  std::vector<Eigen::Matrix<double, 3, 2>> turns;  // per member: derivativeᵀ · information
  Eigen::Matrix<double, kLensParameters, kLensParameters> lens_block = decltype(lens_block)::Zero();

  for (std::size_t c = 0; c < data.commons; ++c) {
    Eigen::Matrix<double, kLensParameters, 2> lens_sum = decltype(lens_sum)::Zero();
    turns.clear();
    for (const auto [f, i] : members[c]) {
      const StarTerm& t = terms[f][i];
      const Eigen::Matrix2d w = observation_weight(noise, f, i, final_weights) * data.frames[f][i].information;
      const Eigen::Matrix<double, kStarParameters, 2> jw = t.jacobian.transpose() * w;
      const Eigen::Index row = 3 * static_cast<Eigen::Index>(f);
      eq.information.block<3, 3>(row, row) += jw.topRows<3>() * t.jacobian.leftCols<3>();
      eq.information.block<3, kLensParameters>(row, lens) += jw.topRows<3>() * t.jacobian.rightCols<kLensParameters>();
      lens_block += jw.bottomRows<kLensParameters>() * t.jacobian.rightCols<kLensParameters>();
      eq.moment.segment<3>(row) += jw.topRows<3>() * t.residual_px;
      eq.moment.tail<kLensParameters>() += jw.bottomRows<kLensParameters>() * t.residual_px;
      turns.push_back(jw.topRows<3>());
      lens_sum += jw.bottomRows<kLensParameters>();
    }
    if (noise.common_error_px <= 0.0) continue;
    const Eigen::Matrix2d cov = common_covariance(noise, sums, c);
    const Eigen::Vector2d error = cov * sums.moment[c];
    for (std::size_t a = 0; a < turns.size(); ++a) {
      const Eigen::Index row = 3 * static_cast<Eigen::Index>(members[c][a].frame);
      const Eigen::Matrix<double, 3, 2> ta = turns[a] * cov;
      for (std::size_t b = a; b < turns.size(); ++b)
        eq.information.block<3, 3>(row, 3 * static_cast<Eigen::Index>(members[c][b].frame)) -=
            ta * turns[b].transpose();
      eq.information.block<3, kLensParameters>(row, lens) -= ta * lens_sum.transpose();
      eq.moment.segment<3>(row) -= turns[a] * error;
    }
    lens_block -= lens_sum * cov * lens_sum.transpose();
    eq.moment.tail<kLensParameters>() -= lens_sum * error;
  }
  eq.information.bottomRightCorner<kLensParameters, kLensParameters>() = lens_block;
  eq.information.triangularView<Eigen::StrictlyLower>() = eq.information.transpose();
  return eq;
}

}  // namespace polewright::mount_detail
