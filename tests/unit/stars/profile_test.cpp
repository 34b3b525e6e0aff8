#include "stars/profile.hpp"

#include <catch2/catch.hpp>
#include <cmath>

#include "stars/star_values.hpp"
#include "truth/stars/render.hpp"

using namespace polewright;

namespace {

const PixelSpans& box() {
  static const PixelSpans spans = spans_around({20.3, 19.6}, 0.0, 0.0, 14.0, 41, 41);
  return spans;
}

ProfilePlanes planes_at(const StarShape& s, TrailForm form, double wings) {
  ProfilePlanes p;
  evaluate_profile(s, form, {wings}, box(), p);
  return p;
}

/// Largest difference between the analytic derivative and a central difference, over the derivative's own size.
double worst_gradient(StarShape s, TrailForm form, double wings, double StarShape::*member, int column) {
  const double h = 1e-3;  // single precision: rounding of 1e-7/h stays below the tolerance, and so does h²
  const ProfilePlanes at = planes_at(s, form, wings);
  StarShape lower = s, upper = s;
  lower.*member -= h;
  upper.*member += h;
  const Eigen::VectorXf numeric =
      (planes_at(upper, form, wings).col(0) - planes_at(lower, form, wings).col(0)) / static_cast<float>(2.0 * h);
  return static_cast<double>((numeric - at.col(column)).cwiseAbs().maxCoeff() / at.col(column).cwiseAbs().maxCoeff());
}

}  // namespace

TEST_CASE("profile derivatives agree with differences") {
  const StarShape compact{20.3, 19.6, 1.3, 0.7, -0.5}, swept{20.3, 19.6, 1.1, 5.0, -3.0};
  for (const double wings : {0.0, 0.15})
    for (const TrailForm form : {TrailForm::compact, TrailForm::swept}) {
      const StarShape& s = form == TrailForm::compact ? compact : swept;
      CAPTURE(wings, static_cast<int>(form));
      CHECK(worst_gradient(s, form, wings, &StarShape::x, 1) < 5e-3);
      CHECK(worst_gradient(s, form, wings, &StarShape::y, 2) < 5e-3);
      CHECK(worst_gradient(s, form, wings, &StarShape::sigma, 3) < 5e-3);
      CHECK(worst_gradient(s, form, wings, &StarShape::trail_a, 4) < 2e-2);  // small itself: rounding shows more
      CHECK(worst_gradient(s, form, wings, &StarShape::trail_b, 5) < 2e-2);
    }
}

TEST_CASE("swept profile is the renderer's image") {
  for (const auto& [tx, ty] : {std::pair{2.0, 1.0}, std::pair{9.0, -4.0}, std::pair{0.0, 14.0}}) {
    test::RenderOptions o;
    o.width = o.height = 41;
    o.sky_electrons = 0.0;
    test::RenderedStar star{.x = 20.3, .y = 19.6, .sigma_px = 0.9, .electrons = 1.0};
    star.trail_x_px = tx;
    star.trail_y_px = ty;
    const auto truth = test::expected_electrons({star}, o);
    const ProfilePlanes p = planes_at({20.3, 19.6, 0.9, tx, ty}, TrailForm::swept, 0.0);
    double worst = 0.0, peak = 0.0, sum = 0.0;
    for (std::size_t r = 0; r < box().rows.size(); ++r)
      for (int x = box().rows[r].x0; x < box().rows[r].x1; ++x) {
        const double t = truth[static_cast<std::size_t>((box().y0 + static_cast<int>(r)) * 41 + x)];
        const double m = static_cast<double>(p(box().rows[r].offset + x - box().rows[r].x0, 0));
        worst = std::max(worst, std::abs(t - m));
        peak = std::max(peak, t);
        sum += m;
      }
    CHECK(worst < 1e-3 * peak);  // nodes (1e-4), the renderer's midpoint sum (4e-4 with ten steps per σ), cut at 5σ
    CHECK(sum == Approx(1.0).epsilon(1e-3));
  }
}

TEST_CASE("compact and swept forms meet where one takes over from the other") {
  const double sigma = 1.2, length = kLongestCompact * sigma;
  const StarShape swept{20.3, 19.6, sigma, length * 0.8, length * 0.6};
  const TrailSquare q = square_of(swept.trail_a, swept.trail_b);
  const StarShape compact{20.3, 19.6, std::sqrt(sigma * sigma + length * length / 24.0), q.q1, q.q2};
  const Eigen::VectorXf a = planes_at(swept, TrailForm::swept, 0.0).col(0);
  const Eigen::VectorXf b = planes_at(compact, TrailForm::compact, 0.0).col(0);
  CHECK((a - b).cwiseAbs().maxCoeff() < 0.01F * a.maxCoeff());  // first order: 0.4 % in the header, with room
}

TEST_CASE("a trail and its square are one") {
  for (const auto& [tx, ty] : {std::pair{3.0, -2.0}, std::pair{0.0, 1.5}, std::pair{1e-4, 1e-4}}) {
    const TrailSquare q = square_of(tx, ty);
    double bx = 0.0, by = 0.0;
    root_of(q, bx, by);
    const double sign = bx * tx + by * ty < 0.0 ? -1.0 : 1.0;
    CHECK(sign * bx == Approx(tx).margin(1e-9));
    CHECK(sign * by == Approx(ty).margin(1e-9));
    CHECK(bx >= 0.0);
  }
}

TEST_CASE("spans follow the trail and stay inside the frame") {
  const PixelSpans spans = spans_around({10.0, 10.0}, 12.0, 12.0, 2.0, 64, 64);
  int count = 0;
  for (const auto& row : spans.rows) {
    CHECK(row.x0 >= 0);
    CHECK(row.x1 <= 64);
    CHECK(row.offset == count);
    count += row.x1 - row.x0;
  }
  CHECK(count == spans.pixels);
  CHECK(spans.pixels < 17 * 17 * 2 / 3);  // a band along the diagonal, not its bounding box
  CHECK(spans_around({-50.0, -50.0}, 0.0, 0.0, 3.0, 64, 64).pixels == 0);
}
