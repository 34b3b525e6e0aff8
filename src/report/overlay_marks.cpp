#include "report/overlay_marks.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <map>
#include <opencv2/imgproc.hpp>

namespace polewright::report {
namespace {

// Marks are drawn without smoothing, which keeps them crisp and the file small.
// BGR. Told apart by shape first; the colours keep their order of brightness for every kind of colour vision.
const cv::Scalar kIdentified(235, 220, 120), kUnidentified(140, 140, 140), kFlagged(90, 150, 255);
const cv::Scalar kMotion(110, 215, 250), kTrail(255, 255, 255), kWords(240, 240, 240);
constexpr int kFont = cv::FONT_HERSHEY_SIMPLEX;
constexpr double kFontScale = 0.48;
constexpr std::size_t kMostNames = 14, kSameReason = 2;

cv::Point pixel(double x, double y) {
  return {static_cast<int>(std::lround(x)), static_cast<int>(std::lround(y))};
}

/// The font draws ASCII only: Greek letters of star designations are spelt out, anything else is left away.
std::string ascii(const std::string& text) {
  static constexpr std::array<const char*, 25> kGreek{
      "alpha", "beta",   "gamma",   "delta", "epsilon", "zeta",    "eta",  "theta", "iota",
      "kappa", "lambda", "mu",      "nu",    "xi",      "omicron", "pi",   "rho",   "sigma",
      "sigma", "tau",    "upsilon", "phi",   "chi",     "psi",     "omega"};
  std::string out;
  for (std::size_t i = 0; i < text.size(); ++i) {
    const auto c = static_cast<unsigned char>(text[i]);
    if (c >= 0x20 && c < 0x7f) out += text[i];
    if ((c != 0xce && c != 0xcf) || i + 1 == text.size()) continue;
    const int letter = (c == 0xce ? 0 : 64) + (static_cast<unsigned char>(text[i + 1]) & 0x3f) - 0x31;  // from U+03B1
    if (letter >= 0 && letter < static_cast<int>(kGreek.size())) out += kGreek[static_cast<std::size_t>(letter)];
  }
  return out;
}

void words(cv::Mat& picture, const std::string& text, cv::Point at) {
  cv::putText(picture, text, at, kFont, kFontScale, cv::Scalar(0, 0, 0), 3, cv::LINE_AA);
  cv::putText(picture, text, at, kFont, kFontScale, kWords, 1, cv::LINE_AA);
}

void shape(cv::Mat& picture, MarkKind kind, cv::Point c) {
  if (kind == MarkKind::identified) {
    cv::circle(picture, c, 7, kIdentified, 1);
  } else if (kind == MarkKind::unidentified) {
    cv::rectangle(picture, c - cv::Point(2, 2), c + cv::Point(2, 2), kUnidentified, 1);
  } else {
    cv::line(picture, c - cv::Point(5, 5), c + cv::Point(5, 5), kFlagged, 1);
    cv::line(picture, c + cv::Point(-5, 5), c + cv::Point(5, -5), kFlagged, 1);
  }
}

/// Hands out places for words so that they do not cover each other.
class Room {
 public:
  explicit Room(cv::Size size) : size_(size) {}
  /// Left end of the baseline beside `mark`, or nothing when the place is taken.
  std::optional<cv::Point> beside(cv::Point mark, const std::string& text) {
    const int width = text_width(text);
    const int x = mark.x + 12 + width > size_.width ? mark.x - 12 - width : mark.x + 12;
    const cv::Rect box(x - 4, mark.y - 12, width + 8, 22);
    if (x < 0 || box.y < 0 || box.y + box.height > size_.height) return {};
    if (std::any_of(taken_.begin(), taken_.end(), [&](const cv::Rect& r) { return (r & box).area() > 0; })) return {};
    taken_.push_back(box);
    return cv::Point(x, mark.y + 5);
  }

 private:
  cv::Size size_;
  std::vector<cv::Rect> taken_;
};

void arrow(cv::Mat& picture, cv::Point from, cv::Point to, bool head) {
  cv::line(picture, from, to, kMotion, 1);
  const double length = std::hypot(to.x - from.x, to.y - from.y);
  if (!head || length < 3.0) return;
  const double ux = (to.x - from.x) / length, uy = (to.y - from.y) / length;
  for (const double side : {1.0, -1.0})
    cv::line(picture, to, pixel(to.x - 8 * ux + side * 4 * uy, to.y - 8 * uy - side * 4 * ux), kMotion, 1);
}

}  // namespace

bool has_trail(const StarMark& mark) {
  return mark.trail.x != 0.0 || mark.trail.y != 0.0;
}

std::string main_reason(const StarMark& mark) {
  return mark.why.substr(0, mark.why.find(','));
}

int text_width(const std::string& text) {
  int baseline = 0;
  return cv::getTextSize(text, kFont, kFontScale, 1, &baseline).width;
}

void draw_legend_entry(cv::Mat& picture, const LegendEntry& entry, cv::Point baseline) {
  const cv::Point c = baseline + cv::Point(10, -5);
  switch (entry.shape) {
    case LegendShape::circle:
      shape(picture, MarkKind::identified, c);
      break;
    case LegendShape::square:
      shape(picture, MarkKind::unidentified, c);
      break;
    case LegendShape::cross:
      shape(picture, MarkKind::flagged, c);
      break;
    case LegendShape::trail:
      cv::line(picture, c - cv::Point(9, 0), c + cv::Point(9, 0), kTrail, 2, cv::LINE_AA);
      break;
    case LegendShape::arrow:
      arrow(picture, c - cv::Point(9, 0), c + cv::Point(10, 0), true);
      break;
  }
  words(picture, entry.text, baseline + cv::Point(28, 0));
}

double motion_factor(const FrameView& view, double scale) {
  double longest = 0.0;
  for (const MotionArrow& m : view.motion) longest = std::max(longest, std::hypot(m.px_per_min.x, m.px_per_min.y));
  if (!(longest > 1e-6)) return 0.0;
  const double cell = view.width_px * scale / std::sqrt(1.5 * static_cast<double>(view.motion.size()));
  const double wanted = 0.8 * cell / (longest * scale), power = std::pow(10.0, std::floor(std::log10(wanted)));
  return power * (wanted >= 5 * power ? 5.0 : wanted >= 2 * power ? 2.0 : 1.0);
}

void draw_motion(cv::Mat& picture, const FrameView& view, double scale, double factor) {
  if (!(factor > 0.0)) return;
  for (const MotionArrow& m : view.motion) {
    const double dx = m.px_per_min.x * factor, dy = m.px_per_min.y * factor;
    const double back = view.motion_sense_known ? 0.0 : 0.5;  // a line without a sense lies about its place
    arrow(picture, pixel((m.at.x - back * dx) * scale, (m.at.y - back * dy) * scale),
          pixel((m.at.x + (1 - back) * dx) * scale, (m.at.y + (1 - back) * dy) * scale), view.motion_sense_known);
  }
}

void draw_marks(cv::Mat& picture, const FrameView& view, double scale) {
  Room room(picture.size());
  std::size_t names = 0;
  std::map<std::string, std::size_t> said;  // a reason twice is enough to learn its look
  const auto centre = [&](const StarMark& m) { return pixel((m.place.x + 0.5) * scale, (m.place.y + 0.5) * scale); };
  for (const StarMark& m : view.marks) {
    const cv::Point c = centre(m);
    shape(picture, m.kind, c);
    if (m.kind == MarkKind::flagged || !has_trail(m)) continue;
    const double dx = 0.5 * m.trail.x * kTrailFactor * scale, dy = 0.5 * m.trail.y * kTrailFactor * scale;
    cv::line(picture, pixel(c.x - dx, c.y - dy), pixel(c.x + dx, c.y + dy), kTrail, 1);
  }
  for (const StarMark& m : view.marks) {  // words last, over the marks
    const bool named = m.kind == MarkKind::identified && names < kMostNames;
    const bool reasoned = m.kind == MarkKind::flagged && said[main_reason(m)] < kSameReason;
    const std::string text = ascii(named ? m.name : reasoned ? main_reason(m) : "");
    if (text.empty()) continue;
    if (const auto at = room.beside(centre(m), text)) {
      words(picture, text, *at);
      ++(named ? names : said[main_reason(m)]);
    }
  }
}

}  // namespace polewright::report
