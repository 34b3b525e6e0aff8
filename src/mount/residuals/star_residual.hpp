// Residuals of all stars in all frames, as one block. The measured places have been condensed, exactly to second order,
// into the attitudes the frames alone give, the lens, and their joint covariance; the block is that covariance's
// whitening of (model attitude ⊖ stars' attitude, lens − stars' lens).
#pragma once

#include <ceres/ceres.h>

#include <Eigen/Core>
#include <vector>

#include "mount/motion_model.hpp"
#include "mount/star_terms.hpp"

namespace polewright::mount_detail {

/// What one frame's attitude depends on. Indices count blocks of their kind.
struct FrameLinks {
  Eigen::Vector4d measured_attitude;  ///< camera_from_enu as quaternion (w, x, y, z)
  int axis = 0, group = 0;
};

struct StarResidualShape {
  std::vector<FrameLinks> frames;
  int axes = 1, groups = 1;
  Eigen::Vector3d pole_in_enu;
  double sky_rate_rad_per_s = 0.0;  ///< right-handed about the visible pole: −σω
  Eigen::Matrix<double, 3, 2> tilt_directions;
  Eigen::MatrixXd whitening;  ///< Lᵀ with L·Lᵀ the information of (φ of each frame, lens)
  Eigen::Matrix<double, kLensParameters, 1> measured_lens;
};

/// Parameter blocks in order: axes (3 each), tilts of the groups (2), start attitudes of the groups (4), turns of the
/// frames (1), time errors of the frames in s (1), clock error in s (1), lens (5).
class StarResidual final : public ceres::CostFunction {
 public:
  explicit StarResidual(StarResidualShape shape) : shape_(std::move(shape)) {
    auto& sizes = *mutable_parameter_block_sizes();
    sizes.insert(sizes.end(), static_cast<std::size_t>(shape_.axes), 3);
    sizes.insert(sizes.end(), static_cast<std::size_t>(shape_.groups), 2);
    sizes.insert(sizes.end(), static_cast<std::size_t>(shape_.groups), 4);
    sizes.insert(sizes.end(), 2 * shape_.frames.size() + 1, 1);
    sizes.push_back(kLensParameters);
    set_num_residuals(static_cast<int>(shape_.whitening.rows()));
  }

  bool Evaluate(double const* const* parameters, double* residuals, double** jacobians) const override {
    const auto frames = static_cast<Eigen::Index>(shape_.frames.size());
    const Eigen::Index rows = shape_.whitening.rows();
    Eigen::VectorXd raw(rows);
    if (jacobians)
      for (std::size_t b = 0; b < parameter_block_sizes().size(); ++b)
        if (jacobians[b]) Matrix(jacobians[b], rows, parameter_block_sizes()[b]).setZero();
    for (Eigen::Index f = 0; f < frames; ++f)
      if (!evaluate_frame(f, parameters, raw, jacobians)) return false;
    const int lens = first_lens();
    raw.tail<kLensParameters>() =
        Eigen::Map<const Eigen::Matrix<double, kLensParameters, 1>>(parameters[lens]) - shape_.measured_lens;
    if (jacobians && jacobians[lens])
      Matrix(jacobians[lens], rows, kLensParameters) = shape_.whitening.rightCols<kLensParameters>();
    Eigen::Map<Eigen::VectorXd>(residuals, rows).noalias() = shape_.whitening * raw;
    return true;
  }

 private:
  using Matrix = Eigen::Map<Eigen::Matrix<double, Eigen::Dynamic, Eigen::Dynamic, Eigen::RowMajor>>;
  static constexpr int kBlocksOfFrame = 6;
  static constexpr int kDerivatives = 3 + 2 + 4 + 1 + 1 + 1;

  [[nodiscard]] int first_lens() const { return shape_.axes + 2 * shape_.groups + 2 * frame_count() + 1; }
  [[nodiscard]] int frame_count() const { return static_cast<int>(shape_.frames.size()); }

  bool evaluate_frame(Eigen::Index f, double const* const* parameters, Eigen::VectorXd& raw, double** jacobians) const {
    using Jet = ceres::Jet<double, kDerivatives>;
    const FrameLinks& links = shape_.frames[static_cast<std::size_t>(f)];
    const int turns = shape_.axes + 2 * shape_.groups;
    const int blocks[kBlocksOfFrame] = {links.axis,
                                        shape_.axes + links.group,
                                        shape_.axes + shape_.groups + links.group,
                                        turns + static_cast<int>(f),
                                        turns + frame_count() + static_cast<int>(f),
                                        turns + 2 * frame_count()};
    Jet value[kDerivatives];
    for (int b = 0, k = 0; b < kBlocksOfFrame; ++b)
      for (int i = 0; i < block_size(blocks[b]); ++i, ++k) value[k] = Jet(parameters[blocks[b]][i], k);
    Jet error[3];
    attitude_error(links, value, error);
    for (int i = 0; i < 3; ++i) {
      if (!std::isfinite(error[i].a)) return false;
      raw[3 * f + i] = error[i].a;
    }
    if (!jacobians) return true;
    Eigen::Matrix<double, 3, kDerivatives> own;
    for (int i = 0; i < 3; ++i) own.row(i) = error[i].v.transpose();
    for (int b = 0, k = 0; b < kBlocksOfFrame; k += block_size(blocks[b]), ++b)
      if (jacobians[blocks[b]])
        Matrix(jacobians[blocks[b]], raw.size(), block_size(blocks[b])) +=
            shape_.whitening.middleCols<3>(3 * f) * own.middleCols(k, block_size(blocks[b]));
    return true;
  }

  [[nodiscard]] int block_size(int block) const { return parameter_block_sizes()[static_cast<std::size_t>(block)]; }

  /// Small turn, camera axes, from the stars' attitude to the model's. v: axis, tilt, start, turn, time, clock.
  template <class T>
  void attitude_error(const FrameLinks& links, const T* v, T error[3]) const {
    T axis[3], model[4], back[4], difference[4];
    const T measured[4] = {T(links.measured_attitude[0]), T(links.measured_attitude[1]), T(links.measured_attitude[2]),
                           T(links.measured_attitude[3])};
    leaning_axis(v, v + 3, shape_.tilt_directions, axis);
    camera_from_nominal_enu(v + 5, axis, v[9], shape_.pole_in_enu, T((v[10] + v[11]) * shape_.sky_rate_rad_per_s),
                            model);
    conjugate(measured, back);
    ceres::QuaternionProduct(model, back, difference);
    ceres::QuaternionToAngleAxis(difference, error);
  }

  StarResidualShape shape_;
};

}  // namespace polewright::mount_detail
