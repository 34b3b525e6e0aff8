// The attitude fit below the axis: derivatives of a star, elimination of shared errors, estimates of scatter.
#include <Eigen/LU>
#include <catch2/catch.hpp>

#include "mount/attitude_fit.hpp"
#include "mount/linear.hpp"
#include "mount/normal_equations.hpp"
#include "truth/mount/sessions/session.hpp"

using namespace polewright;
using namespace polewright::mount_detail;

namespace {

struct Made {
  StarData data;
  PictureState state;
  Terms terms;
};

/// Frames of a pair, terms at the start attitudes.
Made made(int stars, double common_error_px, double stated_sigma_px, std::uint64_t seed) {
  test::SessionSpec spec;
  spec.pointings = {{Angle::hours(1.0), Angle::deg(40.0), Angle()}};
  spec.frames = {{0.0}, {180.0}};
  test::SessionNoise noise;
  noise.stars = stars;
  noise.common_error_px = common_error_px;
  noise.stated_sigma_px = stated_sigma_px;
  std::mt19937_64 random(seed);
  const test::Session session = test::make_session(spec, noise, random);
  Made m;
  m.data = prepare_stars(session.problem, 1);
  m.state = {m.data.start_camera_from_enu, session.problem.frames[0].lens,
             std::vector<Eigen::Vector3d>(2, Eigen::Vector3d::Zero())};
  for (std::size_t f = 0; f < 2; ++f) {
    m.terms.emplace_back();
    for (const Observation& o : m.data.frames[f]) m.terms[f].push_back(star_term(m.state, f, o));
  }
  return m;
}

}  // namespace

TEST_CASE("a star's derivative against finite differences, for every projection") {
  for (const Projection projection :
       {Projection::rectilinear, Projection::equidistant, Projection::equisolid, Projection::stereographic})
    for (const bool mirrored : {false, true}) {
      PictureState state;
      state.lens = {projection, 3000.0, {2999.0, 2001.0}, -0.03, 0.01, mirrored};
      state.camera_from_enu = {rotation_by({0.2, 0.5, -0.3})};
      state.field_turn = {Eigen::Vector3d::Zero()};
      Observation star;
      star.place_in_enu = state.camera_from_enu[0].transpose() * Eigen::Vector3d(0.4, -0.25, 1.0).normalized();
      star.measured_px = {100.0, 200.0};
      const StarTerm t = star_term(state, 0, star);
      REQUIRE(t.valid);
      for (int k = 0; k < kStarParameters; ++k) {
        const double step = k < 3 ? 1e-5 : k < 6 ? 1e-2 : 1e-5;
        const auto predicted = [&](double sign) {
          PictureState s = state;
          if (k < 3) s.camera_from_enu[0] = rotation_by(sign * step * Eigen::Vector3d::Unit(k)) * s.camera_from_enu[0];
          double* lens[] = {&s.lens.focal_px, &s.lens.principal_point.x, &s.lens.principal_point.y, &s.lens.k1,
                            &s.lens.k2};
          if (k >= 3) *lens[k - 3] += sign * step;
          return Eigen::Vector2d(star.measured_px - star_term(s, 0, star).residual_px);
        };
        const Eigen::Vector2d slope = (predicted(1.0) - predicted(-1.0)) / (2.0 * step);
        // Forward differences of 1e-6 rad leave a relative error of about 1e-6 in the columns of the turn.
        CHECK((t.jacobian.col(k) - slope).norm() < 2e-5 * std::max(1.0, slope.norm()));
      }
    }
}

TEST_CASE("places outside the lens are no measurement") {
  PictureState state;
  state.lens = centred_lens(Projection::rectilinear, 3000.0, 6000, 4000);
  state.camera_from_enu = {Eigen::Matrix3d::Identity()};
  state.field_turn = {Eigen::Vector3d::Zero()};
  Observation behind;
  behind.place_in_enu = {0.0, 0.1, -1.0};
  behind.measured_px = {10.0, 10.0};
  CHECK_FALSE(star_term(state, 0, behind).valid);
}

TEST_CASE("shared errors eliminated star by star equal the full covariance inverted") {
  const Made m = made(6, 0.0, 0.05, 3);
  NoiseModel noise = unit_noise(m.data);
  noise.common_error_px = 0.2;
  noise.scale = 1.3;
  const NormalEquations eq = sum_normal_equations(m.data, m.terms, noise, false);

  // By hand: all measurements in one vector with covariance own + shared between frames.
  Eigen::Index rows = 0;
  for (const auto& f : m.data.frames) rows += 2 * static_cast<Eigen::Index>(f.size());
  Eigen::MatrixXd j = Eigen::MatrixXd::Zero(rows, 11), cov = Eigen::MatrixXd::Zero(rows, rows);
  Eigen::VectorXd r(rows);
  std::vector<std::uint32_t> common;
  Eigen::Index row = 0;
  for (std::size_t f = 0; f < 2; ++f)
    for (std::size_t i = 0; i < m.data.frames[f].size(); ++i, row += 2) {
      j.block<2, 3>(row, 3 * static_cast<Eigen::Index>(f)) = m.terms[f][i].jacobian.leftCols<3>();
      j.block<2, 5>(row, 6) = m.terms[f][i].jacobian.rightCols<5>();
      r.segment<2>(row) = m.terms[f][i].residual_px;
      cov.block<2, 2>(row, row) = 1.3 * 1.3 * m.data.frames[f][i].information.inverse();
      common.push_back(m.data.frames[f][i].common);
    }
  for (std::size_t a = 0; a < common.size(); ++a)
    for (std::size_t b = 0; b < common.size(); ++b)
      if (common[a] == common[b])
        cov.block<2, 2>(2 * static_cast<Eigen::Index>(a), 2 * static_cast<Eigen::Index>(b)) +=
            0.04 * Eigen::Matrix2d::Identity();
  const Eigen::MatrixXd information = j.transpose() * cov.inverse() * j;
  const Eigen::VectorXd moment = j.transpose() * cov.inverse() * r;
  // Rounding of a 24 × 24 inverse.
  CHECK((eq.information - information).norm() < 1e-9 * information.norm());
  CHECK((eq.moment - moment).norm() < 1e-9 * moment.norm());
}

TEST_CASE("scatter and shared error come back from the data") {
  AttitudeFitOptions options;
  options.width_px = 6000;
  for (const double common_px : {0.0, 0.3}) {
    const Made m = made(500, common_px, 0.1, 5);
    const AttitudeFit fit = fit_attitudes(m.data, m.state, options);
    CHECK(fit.converged);
    // True scatter 0.05 px against 0.1 px stated; 500 stars tell it to 4 %, the shared error to 5 %.
    CHECK(fit.noise.scale == Approx(0.5).epsilon(0.12));
    if (common_px > 0.0) CHECK(fit.noise.common_error_px == Approx(common_px).epsilon(0.15));
    if (common_px == 0.0) CHECK(fit.noise.common_error_px < 0.03);
  }
  options.noise.common_error_px = 0.17;
  const Made m = made(100, 0.0, 0.05, 6);
  CHECK(fit_attitudes(m.data, m.state, options).noise.common_error_px == 0.17);
}

TEST_CASE("stars on the same pixels share an error, moved ones do not") {
  const auto commons = [](double ratio) {
    test::SessionSpec spec;
    spec.rate_ratio = ratio;
    spec.pointings = {{Angle::hours(1.0), Angle::deg(20.0), Angle()}};
    spec.frames = {{0.0}, {300.0}};
    std::mt19937_64 random(9);
    const test::Session s = test::make_session(spec, {}, random);
    const StarData data = prepare_stars(s.problem, 1);
    return std::pair(data.commons, data.frames[0].size() + data.frames[1].size());
  };
  const auto [tracked, tracked_stars] = commons(1.0);
  CHECK(tracked < tracked_stars * 6 / 10);
  const auto [still, still_stars] = commons(0.0);  // 300 s untracked are 260 px
  CHECK(still == still_stars);
}
