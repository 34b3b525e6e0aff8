// The built program writes page and overlay of real files, whatever the files are called.
#include "support/program.hpp"

#include <catch2/catch.hpp>
#include <filesystem>
#include <fstream>

using namespace polewright;
namespace fs = std::filesystem;

namespace {

const fs::path kSamples = POLEWRIGHT_SOURCE_DIR "/sample_frames";

std::size_t count(const std::string& text, const std::string& what) {
  std::size_t n = 0;
  for (std::size_t at = text.find(what); at != std::string::npos; at = text.find(what, at + 1)) ++n;
  return n;
}

}  // namespace

TEST_CASE("inspect writes page and overlay of a file with a hostile name") {
  const fs::path folder = test::scratch_folder("hostile");
  // quotes, brackets, a line break, a right-to-left mark, and as long as file systems allow (255 bytes)
  std::string name = "x\"'><script>alert(1)<!--&\n\xe2\x80\xae\xe5\xa4\x9c";
  name += std::string(200 - name.size(), 'w') + ".fits.fz";
  fs::copy_file(kSamples / "serenda_first_try_2.fits.fz", folder / name);
  const fs::path page = folder / "page.html", overlay = folder / "overlay.png";
  const test::Run run = test::run_program(
      {"inspect", (folder / name).string(), "--report", page.string(), "--overlay", overlay.string()});
  INFO(run.err);
  REQUIRE(run.status == 0);
  const std::string html = test::read_file(page);
  CHECK(count(html, "<script") == 4);  // palette, two blocks of data, the page's own
  CHECK(count(html, "</script>") == 4);
  CHECK(count(html, "<!--") == 0);
  CHECK(html.ends_with("</html>\n"));
  CHECK(test::read_file(overlay).rfind("\x89PNG\r\n\x1a\n", 0) == 0);  // PNG specification, 5.2
  for (const auto& entry : fs::directory_iterator(folder))
    CHECK(entry.path().string().find(".part") == std::string::npos);
}

TEST_CASE("align writes its page beside its usual answer, and says so when it cannot") {
  const fs::path folder = test::scratch_folder("align_page");
  const std::vector<std::string> pair{"align", (kSamples / "serenda_corrected_1.fits.fz").string(),
                                      (kSamples / "serenda_corrected_2.fits.fz").string()};
  auto arguments = pair;
  arguments.insert(arguments.end(),
                   {"--report", (folder / "page.html").string(), "--json", (folder / "result.json").string()});
  const test::Run run = test::run_program(arguments);
  INFO(run.err);
  REQUIRE(run.status == 0);
  const std::string html = test::read_file(folder / "page.html");
  CHECK(html.find(test::read_file(folder / "result.json")) != std::string::npos);  // nothing in it needed escaping
  CHECK(html.find("data:image/jpeg;base64,") != std::string::npos);
  arguments = pair;
  arguments.insert(arguments.end(), {"--report", (folder / "none/page.html").string()});
  const test::Run refused = test::run_program(arguments);
  CHECK(refused.status == 1);
  CHECK(refused.err.find("none/page.html") != std::string::npos);
}

TEST_CASE("check writes the page of a night with pieces of every frame that can be read") {
  const fs::path folder = test::scratch_folder("night_page");
  fs::create_directories(folder / "frames");
  for (const char* name : {"serenda_first_try_1.fits.fz", "serenda_first_try_2.fits.fz"})
    fs::copy_file(kSamples / name, folder / "frames" / name);
  std::ofstream(folder / "frames" / "broken.fits") << "SIMPLE  =                    T";
  const test::Run run =
      test::run_program({"check", (folder / "frames").string(), "--report", (folder / "night.html").string(), "--json",
                         (folder / "night.json").string()});
  INFO(run.err);
  REQUIRE(fs::exists(folder / "night.html"));
  const std::string html = test::read_file(folder / "night.html");
  CHECK(html.find(test::read_file(folder / "night.json")) != std::string::npos);
  CHECK(count(html, "data:image/jpeg;base64,") == 2);  // one strip per readable frame
  CHECK(html.find("\"crops\":[\"data:image/jpeg") != std::string::npos);
  CHECK(html.find(",null]") != std::string::npos);  // the broken one stands at the end, without a picture
}
