#include <catch2/catch.hpp>
#include <opencv2/imgcodecs.hpp>
#include <random>

#include "polewright/page.hpp"
#include "report/jpeg.hpp"
#include "report/page_evidence.hpp"
#include "session/page_pictures.hpp"
#include "support/program.hpp"

using namespace polewright;

namespace {

/// Sky of a different level in each colour with Gaussian noise, no stars.
Frame colour_frame(int width, int height) {
  std::mt19937 random(3);
  std::normal_distribution<double> noise(0.0, 10.0);
  const double sky[4] = {900.0, 1400.0, 1400.0, 700.0};
  Frame f;
  f.width = width;
  f.height = height;
  f.mosaic.colour = {FilterColour::red, FilterColour::green, FilterColour::green, FilterColour::blue};
  for (int y = 0; y < height; ++y)
    for (int x = 0; x < width; ++x)
      f.pixels.push_back(static_cast<std::uint16_t>(sky[2 * (y & 1) + (x & 1)] + noise(random)));
  return f;
}

void add_star(Frame& f, int x, int y, int size = 6) {
  for (int dy = 0; dy < size; ++dy)
    for (int dx = 0; dx < size; ++dx) f.pixels[static_cast<std::size_t>((y + dy) * f.width + x + dx)] += 20000;
}

double mean(const GreyPicture& p, int x0, int y0, int x1, int y1) {
  double sum = 0.0;
  for (int y = y0; y < y1; ++y)
    for (int x = x0; x < x1; ++x) sum += p.pixels[static_cast<std::size_t>(y * p.width_px + x)];
  return sum / ((x1 - x0) * (y1 - y0));
}

}  // namespace

TEST_CASE("the preview is not wider than asked, keeps every row and column, and shows stars on a dark sky") {
  Frame f = colour_frame(601, 403);
  add_star(f, 300, 200);
  const GreyPicture p = session::preview_of(f, 200);
  // 601 over 200 columns wants a factor 4; an even one keeps whole colour cells together
  REQUIRE(p.width_px == 151);
  REQUIRE(p.height_px == 101);
  REQUIRE(p.pixels.size() == 151U * 101U);
  CHECK(p.pixels[50 * 151 + 75] > 200);
  CHECK(mean(p, 0, 0, 60, 60) < 80.0);
}

TEST_CASE("colours of different sky level leave no chequer in pieces at full size") {
  const Frame f = colour_frame(400, 300);
  const GreyPicture p = session::crop_strip(f, 64);
  double even = 0.0, odd = 0.0;
  for (int y = 0; y < 64; ++y)
    for (int x = 0; x < 320; ++x) ((x + y) % 2 == 0 ? even : odd) += p.pixels[static_cast<std::size_t>(y * 320 + x)];
  // The greens stand 500 to 700 levels above the others before balancing; noise alone leaves the two means, each of
  // 10 240 pixels of scatter about 25, within a grey level of each other.
  CHECK(std::abs(even - odd) / (64 * 160) < 1.0);
}

TEST_CASE("each piece comes from its own place") {
  const int width = 500, height = 400, side = 64;
  const std::pair<int, int> places[5] = {{247, 197}, {20, 20}, {470, 20}, {20, 370}, {470, 370}};
  for (int k = 0; k < 5; ++k) {
    Frame f = colour_frame(width, height);
    add_star(f, places[k].first, places[k].second);
    const GreyPicture p = session::crop_strip(f, side);
    REQUIRE(p.width_px == 5 * side);
    REQUIRE(p.height_px == side);
    for (int piece = 0; piece < 5; ++piece) {
      int brightest = 0;
      for (int y = 0; y < side; ++y)
        for (int x = 0; x < side; ++x)
          brightest = std::max<int>(brightest, p.pixels[static_cast<std::size_t>(y * p.width_px + piece * side + x)]);
      CHECK((brightest > 250) == (piece == k));
    }
  }
  CHECK(session::crop_strip(colour_frame(40, 40), side).pixels.empty());
}

TEST_CASE("a picture in the page is a JPEG of the same size, within the bytes allowed") {
  const GreyPicture p = session::preview_of(colour_frame(800, 600), 800);
  const std::string whole = report::jpeg_of(p), small = report::jpeg_of(p, 30000);
  CHECK(small.size() <= 30000);
  CHECK(small.size() < whole.size());
  for (const std::string& jpeg : {whole, small}) {
    const GreyPicture back = report::picture_in(jpeg);
    CHECK(back.width_px == p.width_px);
    CHECK(back.height_px == p.height_px);
    CHECK(back.pixels.size() == p.pixels.size());
  }
  const std::string uri = report::jpeg_data_uri(small);
  CHECK(uri.rfind("data:image/jpeg;base64,/9j/", 0) == 0);  // RFC 4648 of the JPEG start marker FF D8 FF
  CHECK((uri.size() - 23) / 4 == (small.size() + 2) / 3);
  CHECK(report::jpeg_of({}).empty());
  CHECK(report::jpeg_data_uri("").empty());
  CHECK(report::picture_in("no picture").pixels.empty());
  CHECK(report::picture_in(whole.substr(0, 200)).pixels.size() % p.pixels.size() == 0);  // cut short: no crash
}

TEST_CASE("strips go into the page as they are, or smaller when the night is long") {
  const std::string strip = report::jpeg_of(session::crop_strip(colour_frame(400, 300), 104));
  CheckEvidence few{104, {strip, ""}};
  const auto json = report::check_evidence_json(few);
  CHECK(json["crops"][0] == report::jpeg_data_uri(strip));
  CHECK(json["crops"][1].is_null());
  CHECK(json["crop_px"] == 104);
  CheckEvidence many{104, std::vector<std::string>(600, strip)};
  const std::string page = report::check_evidence_json(many).dump();
  CHECK(strip.size() > 8000);  // 4.8 MB of JPEG shared by 600 frames
  CHECK(page.size() < 8'000'000);
}

TEST_CASE("the overlay is a PNG with a legend below the frame, written whole or not at all") {
  FrameView view;
  view.width_px = 800;
  view.height_px = 600;
  view.preview = session::preview_of(colour_frame(800, 600), 1600);
  StarMark identified, flagged;
  identified.place = {200.0, 150.0};
  identified.kind = MarkKind::identified;
  identified.name = "\xce\xb1 Cen";
  flagged.place = {600.0, 450.0};
  flagged.kind = MarkKind::flagged;
  flagged.why = "hot pixel, no fit";
  view.marks = {identified, flagged};
  const std::string folder = test::scratch_folder("overlay");
  REQUIRE_FALSE(write_overlay(folder + "/marked.png", view));
  view.marks.clear();
  REQUIRE_FALSE(write_overlay(folder + "/bare.png", view));
  const cv::Mat marked = cv::imread(folder + "/marked.png"), bare = cv::imread(folder + "/bare.png");
  const double scale = marked.cols / 800.0;
  CHECK(marked.cols >= 1200);  // enlarged until marks have room
  CHECK(marked.rows > 600 * scale);
  const auto differ = [&](int x, int y, int reach) {
    int n = 0;
    const int v0 = static_cast<int>(scale * y), u0 = static_cast<int>(scale * x);
    for (int v = v0 - reach; v < v0 + reach; ++v)
      for (int u = u0 - reach; u < u0 + reach; ++u) n += marked.at<cv::Vec3b>(v, u) != bare.at<cv::Vec3b>(v, u) ? 1 : 0;
    return n;
  };
  CHECK(differ(200, 150, 12) > 20);  // the ring
  CHECK(differ(600, 450, 12) > 10);  // the cross
  CHECK(differ(400, 300, 40) == 0);  // nothing elsewhere
  CHECK(write_overlay(folder + "/none/marked.png", view)->code == ErrorCode::write_failed);
  view.preview = {};
  CHECK(write_overlay(folder + "/empty.png", view)->code == ErrorCode::write_failed);
}
