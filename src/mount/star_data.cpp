#include "mount/star_data.hpp"

#include <Eigen/LU>
#include <Eigen/SVD>
#include <algorithm>
#include <optional>
#include <unordered_map>

#include "base/parallel.hpp"
#include "mount/linear.hpp"

namespace polewright::mount_detail {
namespace {

// Below this a sigma claims more than pixels can hold (photon statistics of a star at full well); keeps weights finite.
constexpr double kSmallestSigma_px = 0.002;
// Distortion left over is smooth: over this distance, a fortieth of a usual frame, it changes by a few percent.
constexpr double kSamePixels_px = 150.0;

/// Rotation that best takes the frame's start attitude over to observed places near the middle of the frame.
Eigen::Matrix3d start_attitude(const MountFrame& frame, const SkyAt& sky) {
  Eigen::Matrix3d sum = Eigen::Matrix3d::Zero();
  for (const auto& [x, y] : {std::pair{0.05, 0.05}, {0.05, -0.05}, {-0.05, 0.05}, {-0.05, -0.05}}) {
    const Vec<Camera> d = Vec<Camera>{x, y, 1.0}.unit();
    const Vec<Enu> place = sky.observed(frame.camera_from_icrs.inverse() * d);
    sum += to_eigen(d) * to_eigen(place).transpose();
  }
  const Eigen::JacobiSVD<Eigen::Matrix3d> svd(sum, Eigen::ComputeFullU | Eigen::ComputeFullV);
  Eigen::Vector3d sign(1.0, 1.0, (svd.matrixU() * svd.matrixV().transpose()).determinant());
  return svd.matrixU() * sign.asDiagonal() * svd.matrixV().transpose();
}

std::vector<Observation> observe(const MountFrame& frame, const SkyAt& sky, std::vector<std::uint32_t>& catalogue) {
  std::vector<Observation> out;
  out.reserve(frame.stars.size());
  for (const MountStar& star : frame.stars) {
    Observation o;
    o.measured_px = {star.measured.x, star.measured.y};
    const double floor = kSmallestSigma_px * kSmallestSigma_px;
    Eigen::Matrix2d cov;
    cov << star.measured_cov.xx + floor, star.measured_cov.xy, star.measured_cov.xy, star.measured_cov.yy + floor;
    if (!o.measured_px.allFinite() || !cov.allFinite() || cov(0, 0) <= 0.0 || cov.determinant() <= 0.0) continue;
    o.information = cov.inverse();
    o.place_in_enu = to_eigen(sky.observed(star.direction));
    out.push_back(o);
    catalogue.push_back(star.catalogue);
  }
  return out;
}

/// Frames in which stars hold nearly the same pixels, and the stars seen in them.
struct SamePixels {
  struct Held {
    Eigen::Vector2d place_px;
    std::uint32_t number;
    std::size_t last_frame;
  };
  std::unordered_map<std::uint32_t, Held> stars;
};

/// How far the stars of a frame have moved from where the group has them: nine in ten moved less. Nothing without
/// three.
std::optional<double> moved_px(const SamePixels& group, const std::vector<Observation>& frame,
                               const std::vector<std::uint32_t>& catalogue) {
  std::vector<double> moved;
  for (std::size_t i = 0; i < frame.size(); ++i)
    if (const auto held = group.stars.find(catalogue[i]); held != group.stars.end())
      moved.push_back((held->second.place_px - frame[i].measured_px).norm());
  if (moved.size() < 3) return {};
  const auto most = moved.begin() + static_cast<std::ptrdiff_t>(moved.size() * 9 / 10);
  std::nth_element(moved.begin(), most, moved.end());
  return *most;
}

/// Numbers the shared errors. Frames share them or not as a whole: a mixture would leave a few stars, picked by where
/// they are, to tell everything about the scatter.
void number_commons(StarData& data, const std::vector<std::vector<std::uint32_t>>& catalogue) {
  std::vector<SamePixels> groups;
  std::uint32_t next = 0;
  for (std::size_t f = 0; f < data.frames.size(); ++f) {
    auto& frame = data.frames[f];
    const auto group = std::find_if(groups.begin(), groups.end(), [&](const SamePixels& g) {
      return moved_px(g, frame, catalogue[f]).value_or(2.0 * kSamePixels_px) < kSamePixels_px;
    });
    SamePixels& same = group != groups.end() ? *group : groups.emplace_back();
    for (std::size_t i = 0; i < frame.size(); ++i) {
      frame[i].common = next;
      if (catalogue[f][i] == kNotInCatalogue) {
        ++next;
        continue;
      }
      const auto [held, fresh] =
          same.stars.try_emplace(catalogue[f][i], SamePixels::Held{frame[i].measured_px, next, f});
      if (!fresh && held->second.last_frame != f) {
        frame[i].common = held->second.number;
        held->second.last_frame = f;
        continue;
      }
      ++next;
    }
  }
  data.commons = next;
}

}  // namespace

StarData prepare_stars(const MountProblem& problem, int threads) {
  const std::size_t n = problem.frames.size();
  StarData data;
  data.frames.resize(n);
  data.start_camera_from_enu.resize(n);
  std::vector<std::vector<std::uint32_t>> catalogue(n);
  parallel_for(n, threads, [&](std::size_t f) {
    const SkyAt sky(problem.frames[f].mid_time, problem.site, problem.weather);
    data.frames[f] = observe(problem.frames[f], sky, catalogue[f]);
    data.start_camera_from_enu[f] = start_attitude(problem.frames[f], sky);
  });
  number_commons(data, catalogue);
  return data;
}

}  // namespace polewright::mount_detail
