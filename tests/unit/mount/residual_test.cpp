// Each residual family: a value worked out by hand, and its derivative against finite differences.
#include <ceres/ceres.h>
#include <ceres/gradient_checker.h>

#include <catch2/catch.hpp>

#include "mount/linear.hpp"
#include "mount/residuals/star_residual.hpp"
#include "mount/residuals/trail_residual.hpp"
#include "mount/residuals/turn_residual.hpp"

using namespace polewright;
using namespace polewright::mount_detail;

namespace {

Eigen::Vector4d wxyz(const Eigen::Matrix3d& m) {
  const Eigen::Quaterniond q(m);
  return {q.w(), q.x(), q.y(), q.z()};
}

const Eigen::Vector3d kPole = Eigen::Vector3d(0.0, 0.7, 0.71).normalized();
const Eigen::Vector3d kAxis = Eigen::Vector3d(0.05, 0.68, 0.73).normalized();
const Eigen::Matrix3d kStart = rotation_by({0.3, -1.1, 0.4});
constexpr double kSky = -7.292e-5;

StarResidualShape two_frames() {
  StarResidualShape s;
  s.pole_in_enu = kPole;
  s.sky_rate_rad_per_s = kSky;
  s.tilt_directions << 1.0, 0.0, 0.0, 0.7, 0.0, -0.7;
  s.measured_lens << 12800.0, 3000.0, 2000.0, 0.01, 0.0;
  // Second frame: the camera turned by 0.02 rad about the axis; stars say so exactly.
  for (const double turn : {0.0, 0.02}) {
    FrameLinks f;
    f.measured_attitude = wxyz(kStart * rotation_by(kAxis * turn).transpose());
    s.frames.push_back(f);
  }
  s.whitening = Eigen::MatrixXd::Identity(11, 11);
  return s;
}

struct Blocks {
  std::vector<double> axis{kAxis.x(), kAxis.y(), kAxis.z()}, tilt{0.0, 0.0}, start, turn0{0.0}, turn1{0.02}, time0{0.0},
      time1{0.0}, clock{0.0}, lens{12800.0, 3000.0, 2000.0, 0.01, 0.0};
  Blocks() {
    const auto q = wxyz(kStart);
    start.assign(q.data(), q.data() + 4);
  }
  [[nodiscard]] std::vector<const double*> pointers() const {
    return {axis.data(),  tilt.data(),  start.data(), turn0.data(), turn1.data(),
            time0.data(), time1.data(), clock.data(), lens.data()};
  }
};

}  // namespace

TEST_CASE("star residual: nothing at the truth, the turn itself when the turn is wrong") {
  const StarResidual residual(two_frames());
  Blocks b;
  Eigen::VectorXd r(11);
  REQUIRE(residual.Evaluate(b.pointers().data(), r.data(), nullptr));
  CHECK(r.norm() < 1e-12);

  // A model turn too large by 1e-4 turns the camera by −1e-4 about the axis as the camera sees it.
  b.turn1[0] += 1e-4;
  REQUIRE(residual.Evaluate(b.pointers().data(), r.data(), nullptr));
  const Eigen::Vector3d axis_in_camera = kStart * rotation_by(kAxis * 0.02).transpose() * kAxis;
  CHECK((r.segment<3>(3) + 1e-4 * axis_in_camera).norm() < 1e-12);
  CHECK(r.head<3>().norm() < 1e-12);

  // A clock 10 s slow: the sky has turned on by 10 s about the pole, for both frames alike.
  b = {};
  b.clock[0] = 10.0;
  REQUIRE(residual.Evaluate(b.pointers().data(), r.data(), nullptr));
  CHECK((r.head<3>() - kStart * kPole * (kSky * 10.0)).norm() < 1e-9);

  b = {};
  b.lens[0] += 5.0;
  REQUIRE(residual.Evaluate(b.pointers().data(), r.data(), nullptr));
  CHECK(r[6] == Approx(5.0));
}

TEST_CASE("star residual: derivatives against finite differences") {
  StarResidualShape shape = two_frames();
  // Any whitening, and a state off the truth.
  std::srand(3);
  shape.whitening = Eigen::MatrixXd::Random(11, 11);
  const StarResidual residual(shape);
  Blocks b;
  b.turn1[0] = 0.05;
  b.time1[0] = 3.0;
  b.clock[0] = -20.0;
  b.tilt[0] = 0.01;
  const ceres::SphereManifold<3> sphere;
  const ceres::QuaternionManifold quaternion;
  const std::vector<const ceres::Manifold*> manifolds{&sphere, nullptr, &quaternion, nullptr, nullptr,
                                                      nullptr, nullptr, nullptr,     nullptr};
  ceres::GradientChecker checker(&residual, &manifolds, ceres::NumericDiffOptions{});
  ceres::GradientChecker::ProbeResults result;
  const auto pointers = b.pointers();
  INFO(result.error_log);
  // Finite differences of a double are good to about 1e-6 of the largest entry.
  CHECK(checker.Probe(pointers.data(), 1e-6, &result));
}

TEST_CASE("star residual refuses what is not a number") {
  const StarResidual residual(two_frames());
  Blocks b;
  b.turn1[0] = std::nan("");
  Eigen::VectorXd r(11);
  CHECK_FALSE(residual.Evaluate(b.pointers().data(), r.data(), nullptr));
}

TEST_CASE("turn residual: value by hand and derivative") {
  // 100 s at 1.01 of a sidereal rate of −7e-5 rad/s is −7.07e-3 rad; the turn is −7.00e-3: 7e-5 rad left, σ 1e-5.
  std::unique_ptr<ceres::CostFunction> residual(TurnResidual::create(100.0, -7e-5, 1e-5));
  const double a = 1.0e-3, b = -6.0e-3, t0 = 0.0, t1 = 0.0, ratio = 1.01;
  const double* p[] = {&a, &b, &t0, &t1, &ratio};
  double r = 0.0;
  REQUIRE(residual->Evaluate(p, &r, nullptr));
  CHECK(r == Approx(7.0));
  const std::vector<const ceres::Manifold*> none(5, nullptr);
  ceres::GradientChecker checker(residual.get(), &none, ceres::NumericDiffOptions{});
  CHECK(checker.Probe(p, 1e-6, nullptr));
}

TEST_CASE("trail residual: value by hand and derivative") {
  // Camera axes along the ground's; axis on the pole, half rate: the camera lags the stars by half the sky's turn.
  const Eigen::Vector3d measured(0.0, 0.0, 0.5 * 7e-5 * 60.0);
  std::unique_ptr<ceres::CostFunction> residual(
      TrailResidual::create({measured, Eigen::Matrix3d::Identity() * 1e5, Eigen::Vector3d::UnitZ(), -7e-5, 60.0}));
  const double axis[] = {0.0, 0.0, 1.0}, start[] = {1.0, 0.0, 0.0, 0.0}, turn = 0.3, ratio = 0.5, other = 0.4;
  const double* p[] = {axis, start, &turn, &ratio};
  Eigen::Vector3d r;
  REQUIRE(residual->Evaluate(p, r.data(), nullptr));
  CHECK(r.norm() < 1e-9);
  p[3] = &other;  // a tenth of the rate slower lags by another tenth: 4.2e-4 rad at 1e5 per rad
  REQUIRE(residual->Evaluate(p, r.data(), nullptr));
  CHECK(r.z() == Approx(42.0));
  const ceres::SphereManifold<3> sphere;
  const ceres::QuaternionManifold quaternion;
  const std::vector<const ceres::Manifold*> manifolds{&sphere, &quaternion, nullptr, nullptr};
  ceres::GradientChecker checker(residual.get(), &manifolds, ceres::NumericDiffOptions{});
  CHECK(checker.Probe(p, 1e-6, nullptr));
}
