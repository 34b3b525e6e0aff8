#include "report/page_evidence.hpp"

#include <algorithm>
#include <cmath>

#include "report/jpeg.hpp"

namespace polewright::report {
namespace {

constexpr std::size_t kPreviewBytes = 400'000;
constexpr std::size_t kAllCropsBytes = 4'800'000;  // with base64 and the figures, 500 frames stay below 8 MB
constexpr std::size_t kMarksInPage = 1000;

/// Hundredths are finer than any screen shows a frame.
double hundredth(double v) {
  return std::round(v * 100.0) / 100.0;
}

const char* to_text(MarkKind kind) {
  switch (kind) {
    case MarkKind::identified:
      return "identified";
    case MarkKind::unidentified:
      return "unidentified";
    case MarkKind::flagged:
      return "flagged";
  }
  return "";
}

Json marks_json(const std::vector<StarMark>& marks) {
  Json list = Json::array();
  for (const StarMark& m : marks) {
    if (list.size() == kMarksInPage) break;
    Json mark = {{"x", hundredth(m.place.x)}, {"y", hundredth(m.place.y)}, {"kind", to_text(m.kind)}};
    if (!m.name.empty()) mark["name"] = m.name;
    if (m.v_magnitude) mark["v_magnitude"] = hundredth(*m.v_magnitude);
    if (!m.why.empty()) mark["why"] = m.why;
    list.push_back(std::move(mark));
  }
  return list;
}

Json shifts_json(const std::vector<FieldShift>& shifts) {
  Json list = Json::array();
  for (const FieldShift& s : shifts)
    list.push_back({{"time_s", s.time_s},
                    {"x_px", s.x_px},
                    {"y_px", s.y_px},
                    {"roll_arcmin", s.roll_arcmin},
                    {"sigma_px", s.sigma_px},
                    {"roll_sigma_arcmin", s.roll_sigma_arcmin}});
  return list;
}

}  // namespace

Json frame_view_json(const FrameView& view) {
  Json motion = Json::array();
  for (const MotionArrow& m : view.motion)
    motion.push_back({{"x", m.at.x}, {"y", m.at.y}, {"dx", m.px_per_min.x}, {"dy", m.px_per_min.y}});
  const auto count = [&](MarkKind kind) {
    return std::count_if(view.marks.begin(), view.marks.end(), [&](const StarMark& m) { return m.kind == kind; });
  };
  const std::string picture = jpeg_data_uri(jpeg_of(view.preview, kPreviewBytes));
  return {{"file", view.file},
          {"width_px", view.width_px},
          {"height_px", view.height_px},
          {"picture", picture.empty() ? Json(nullptr) : Json(picture)},
          {"counts",
           {{"identified", count(MarkKind::identified)},
            {"unidentified", count(MarkKind::unidentified)},
            {"flagged", count(MarkKind::flagged)}}},
          {"marks", marks_json(view.marks)},
          {"motion", motion},
          {"motion_sense_known", view.motion_sense_known}};
}

Json align_evidence_json(const std::optional<AlignEvidence>& evidence) {
  const AlignEvidence none;
  const AlignEvidence& e = evidence ? *evidence : none;
  return {{"frame", e.frame ? frame_view_json(*e.frame) : Json(nullptr)},
          {"shifts", shifts_json(e.shifts)},
          {"fitted", shifts_json(e.fitted)},
          {"tolerance_radius_arcmin", maybe(e.tolerance_radius_arcmin)}};
}

Json inspect_evidence_json(const std::optional<FrameView>& view) {
  return {{"frame", view ? frame_view_json(*view) : Json(nullptr)}};
}

Json check_evidence_json(const CheckEvidence& evidence) {
  Json crops = Json::array();
  for (const std::string& strip : evidence.crops) {
    const std::size_t most = kAllCropsBytes / evidence.crops.size();
    const std::string uri = jpeg_data_uri(strip.size() <= most ? strip : jpeg_of(picture_in(strip), most));
    crops.push_back(uri.empty() ? Json(nullptr) : Json(uri));
  }
  return {{"crops", crops}, {"crop_px", evidence.crop_px}};
}

}  // namespace polewright::report
