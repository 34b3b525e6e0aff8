#include <fmt/format.h>

#include "polewright/stars.hpp"

namespace polewright {

Status StarOptions::validate() const {
  const auto refused = [](std::string found, const char* expected, const char* advice) {
    return Error{ErrorCode::option_invalid, "", std::move(found), expected, advice};
  };
  if (!(threshold_sigma >= 3.0 && threshold_sigma <= 1000.0))
    return refused(fmt::format("detection threshold {} σ", threshold_sigma), "3 to 1000 σ", "Leave it at 5.");
  if (max_stars < 1) return refused(fmt::format("at most {} stars", max_stars), "1 or more", "Leave it at 30000.");
  if (max_fitted < 0) return refused(fmt::format("at most {} fits", max_fitted), "0 or more", "Leave it at 4000.");
  if (max_saturated_fitted < 0)
    return refused(fmt::format("at most {} fits of saturated stars", max_saturated_fitted), "0 or more",
                   "Leave it at 500.");
  if (enough_stars < 0)
    return refused(fmt::format("{} stars being enough", enough_stars), "0 or more", "Leave it at 0.");
  if (focal_px && !(*focal_px > 0.0 && *focal_px < 1e9))
    return refused(fmt::format("focal length {} px", *focal_px), "a positive number of pixels", "Leave it out.");
  if (threads < 0) return refused(fmt::format("{} threads", threads), "0 (all) or more", "");
  return std::nullopt;
}

}  // namespace polewright
