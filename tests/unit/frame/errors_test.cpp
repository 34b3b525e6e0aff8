// Files that are no frames, or damaged ones: a clear error, nothing on standard error, no crash.
#include <fcntl.h>
#include <unistd.h>

#include <atomic>
#include <catch2/catch.hpp>
#include <thread>
#include <vector>

#include "polewright/frame.hpp"
#include "scratch.hpp"
#include "writers/dng_file.hpp"
#include "writers/fits_file.hpp"
#include "writers/picture_file.hpp"

using namespace polewright;
using namespace polewright::test;

namespace {

/// Sends standard error to a file and gives what was written there.
class CapturedStderr {
 public:
  explicit CapturedStderr(const std::filesystem::path& file) : file_(file), saved_(::dup(2)) {
    const int out = ::open(file.c_str(), O_WRONLY | O_CREAT | O_TRUNC, 0600);
    ::dup2(out, 2);
    ::close(out);
  }
  ~CapturedStderr() { restore(); }
  std::string text() {
    restore();
    return bytes_of(file_);
  }

 private:
  void restore() {
    if (saved_ < 0) return;
    ::fsync(2);
    ::dup2(saved_, 2);
    ::close(saved_);
    saved_ = -1;
  }
  std::filesystem::path file_;
  int saved_;
};

ErrorCode code_of(const std::filesystem::path& path, const Scratch& scratch) {
  CapturedStderr captured(scratch / "stderr.txt");
  const auto frame = read_frame(path);
  CHECK(captured.text().empty());
  INFO(path);
  REQUIRE_FALSE(frame.ok());
  CHECK_FALSE(frame.error().found.empty());
  CHECK_FALSE(frame.error().expected.empty());
  CHECK_FALSE(frame.error().try_this.empty());
  CHECK(frame.error().file == path.string());
  return frame.error().code;
}

FitsFile plain_fits() {
  FitsFile f;
  f.physical.assign(16 * 12, 100.0);
  return f;
}

PictureFile plain_picture(int width = 64, int height = 48) {
  PictureFile p;
  p.width = width;
  p.height = height;
  for (int i = 0; i < width * height; ++i) p.samples.push_back(i * 37 % 251);
  return p;
}

}  // namespace

TEST_CASE("no file, a folder, nothing in it") {
  const Scratch s;
  CHECK(code_of(s / "absent.fits", s) == ErrorCode::file_missing);
  CHECK(code_of(s / "", s) == ErrorCode::file_unreadable);
  CHECK(code_of(s.write("empty.fits", ""), s) == ErrorCode::file_truncated);
}

TEST_CASE("content decides, not the name") {
  const Scratch s;
  CHECK(code_of(s.write("IMG_0001.CR2", "This is a shopping list.\n"), s) == ErrorCode::format_unknown);
  CHECK(code_of(s.write("a.fits", std::string("PK\3\4zip", 7)), s) == ErrorCode::format_unknown);
  CHECK(code_of(s.write("zeros.tif", std::string(5000, '\0')), s) == ErrorCode::format_unknown);
  write_fits(s / "frame.jpg", plain_fits());
  const auto renamed = read_frame(s / "frame.jpg");
  REQUIRE(renamed.ok());
  CHECK(renamed->kind == FileKind::fits);
  CHECK(looks_like_frame(s / "frame.jpg"));
  CHECK_FALSE(looks_like_frame(s / "IMG_0001.CR2"));
  CHECK_FALSE(looks_like_frame(s / "absent"));
  CHECK_FALSE(looks_like_frame(s / ""));
}

TEST_CASE("truncated files") {
  const Scratch s;
  write_fits(s / "whole.fits", [] {
    FitsFile f;
    f.width = 100;
    f.height = 100;
    f.physical.assign(10000, 5.0);
    return f;
  }());
  const std::string fits = bytes_of(s / "whole.fits");
  CHECK(code_of(s.write("half.fits", fits.substr(0, fits.size() / 2)), s) == ErrorCode::file_truncated);
  CHECK_FALSE(read_frame(s.write("head.fits", fits.substr(0, 1000))).ok());

  DngFile dng;
  dng.width = 64;
  dng.height = 48;
  dng.samples.assign(64 * 48, 500);
  write_dng(s / "whole.dng", dng);
  std::string raw = bytes_of(s / "whole.dng");
  code_of(s.write("half.dng", raw.substr(0, raw.size() / 2)), s);

  for (const char* ending : {".tif", ".png"}) {
    write_picture(s / (std::string("whole") + ending), plain_picture());
    const std::string bytes = bytes_of(s / (std::string("whole") + ending));
    code_of(s.write(std::string("half") + ending, bytes.substr(0, bytes.size() / 2)), s);
  }
}

TEST_CASE("a truncated JPEG is either refused or read, silently") {
  const Scratch s;
  PictureFile p = plain_picture();
  p.bits = 8;
  write_picture(s / "whole.jpg", p);
  const std::string bytes = bytes_of(s / "whole.jpg");
  CapturedStderr captured(s / "stderr.txt");
  const auto frame = read_frame(s.write("half.jpg", bytes.substr(0, bytes.size() / 2)));
  CHECK(captured.text().empty());
  if (frame.ok()) {
    CHECK(frame->width == 64);
    CHECK(frame->metadata.warnings.size() == 1);
  }
}

TEST_CASE("corrupted TIFF directory") {
  const Scratch s;
  write_picture(s / "whole.tif", plain_picture());
  std::string bytes = bytes_of(s / "whole.tif");
  bytes[4] = bytes[5] = bytes[6] = '\x7F';  // the directory's place, far outside the file
  code_of(s.write("bad.tif", bytes), s);
}

TEST_CASE("colour-filter tags that contradict the file (found by the fuzz program: they crashed LibRaw 0.20.2)") {
  const Scratch s;
  DngFile dng;
  dng.samples.assign(32 * 24, 700);
  dng.cfa_large.assign(36, 1);
  write_dng(s / "whole.dng", dng);
  std::string bytes = bytes_of(s / "whole.dng");
  // Entry 33421 (0x828D), SHORT, count 2: the count becomes 0x2E000002, so that its values no longer fit the entry.
  const std::size_t entry = bytes.find(std::string("\x8D\x82\x03\x00\x02\x00\x00\x00", 8));
  REQUIRE(entry != std::string::npos);
  std::string without = bytes;
  without[entry + 1] = '\x24';  // another tag in its place: 36 cells without dimensions
  CHECK(code_of(s.write("without.dng", without), s) == ErrorCode::file_truncated);
  std::string large = bytes;
  large[entry + 10] = '\x06';  // rows × columns 6 × (6 + 256·48): more than the 36 cells of the pattern
  large[entry + 11] = '\x30';
  CHECK(code_of(s.write("large.dng", large), s) == ErrorCode::file_truncated);
  bytes[entry + 7] = '\x2E';
  CHECK(code_of(s.write("bad.dng", bytes), s) == ErrorCode::file_truncated);
}

TEST_CASE("absurd and zero sizes") {
  const Scratch s;
  write_fits(s / "small.fits", plain_fits());
  const std::string fits = bytes_of(s / "small.fits");
  const auto with_axis = [&](const std::string& card) {
    std::string bytes = fits;
    bytes.replace(bytes.find("NAXIS1  ="), 30, card);
    return bytes;
  };
  code_of(s.write("huge.fits", with_axis("NAXIS1  =           2000000000")), s);
  code_of(s.write("zero.fits", with_axis("NAXIS1  =                    0")), s);
  code_of(s.write("minus.fits", with_axis("NAXIS1  =                   -5")), s);
  CHECK(code_of(s.write("wide.fits", with_axis("NAXIS1  =                90000")), s) == ErrorCode::file_truncated);

  DngFile dng;
  dng.width = 60000;
  dng.height = 60000;
  dng.samples.assign(100, 1);
  write_dng(s / "huge.dng", dng);
  code_of(s / "huge.dng", s);
}

TEST_CASE("a FITS table is no frame") {
  const Scratch s;
  FitsFile f = plain_fits();
  f.in_extension = true;
  write_fits(s / "f.fits", f);
  const std::string bytes = bytes_of(s / "f.fits");
  CHECK(code_of(s.write("primary.fits", bytes.substr(0, 2880)), s) == ErrorCode::file_unsupported);
}

TEST_CASE("several threads read at once") {
  const Scratch s;
  write_fits(s / "a.fits", plain_fits());
  DngFile dng;
  dng.samples.assign(32 * 24, 700);
  dng.date_time_original = "2026:08:12 22:01:07";
  write_dng(s / "a.dng", dng);
  PictureFile picture = plain_picture();
  picture.exif = {{"Exif.Photo.FocalLength", "50/1"}};
  write_picture(s / "a.tif", picture);
  std::atomic<int> good{0};
  std::vector<std::thread> threads;
  for (int t = 0; t < 4; ++t)
    threads.emplace_back([&] {
      for (int i = 0; i < 25; ++i)
        for (const char* name : {"a.fits", "a.dng", "a.tif"}) good += read_frame(s / name).ok() ? 1 : 0;
    });
  for (auto& thread : threads) thread.join();
  CHECK(good == 4 * 25 * 3);
}
