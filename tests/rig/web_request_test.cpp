#include "rig/network/web_request.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "rig/web_requests.hpp"

namespace plexor::rig {
namespace {

using ::testing::ElementsAre;
using ::testing::IsEmpty;
using Progress = WebRequestReader::Progress;

/// The bodies of all requests that come so, and at last what they are refused with.
std::vector<std::string> bodies_in(std::string_view bytes, std::size_t piece) {
  std::vector<std::string> bodies;
  WebRequestReader reader{WebHookLimits{}};
  while (true) {
    switch (reader.advance()) {
      case Progress::head: break;
      case Progress::whole:
        bodies.push_back(reader.request().body);
        reader.forget();
        break;
      case Progress::refused: bodies.push_back(std::to_string(reader.refusal())); return bodies;
      case Progress::needs_more:
        if (bytes.empty()) return bodies;
        reader.feed(bytes.substr(0, piece));
        bytes.remove_prefix(std::min(piece, bytes.size()));
    }
  }
}

TEST(WebRequest, KnowsWhatAServerMustKnow) {
  WebRequestReader reader{WebHookLimits{}};
  EXPECT_TRUE(reader.is_idle());
  EXPECT_EQ(reader.advance(), Progress::needs_more);
  reader.feed(Post{.path = "/knock?x=1", .type = "Text/Plain ; charset=utf-8"}.with("call"));
  EXPECT_FALSE(reader.is_idle());
  EXPECT_EQ(reader.advance(), Progress::head);
  EXPECT_TRUE(reader.request().is_post);
  EXPECT_EQ(reader.request().path, "/knock");
  EXPECT_EQ(reader.request().token, right_token);
  EXPECT_EQ(reader.request().media_type, "text/plain");
  EXPECT_TRUE(reader.request().has_body);
  EXPECT_TRUE(reader.request().stays);
  EXPECT_FALSE(reader.request().is_packed || reader.request().awaits_leave);
  EXPECT_EQ(reader.advance(), Progress::whole);
  EXPECT_EQ(reader.request().body, "call");
  reader.forget();
  EXPECT_TRUE(reader.is_idle());
}

TEST(WebRequest, IsTheSameHoweverItsBytesCome) {
  const std::string bytes = Post{}.with("call") + Post{.method = "GET"}.head("") +
                            Post{}.head("Transfer-Encoding: Chunked\r\n") +
                            "2\r\nki\r\n02\r\nln\r\n000\r\n\r\n" +
                            Post{}.with(std::string(5000, 'a')) + Post{}.with("shave") + "\n";
  for (const std::size_t piece : {1U, 2U, 3U, 7U, 64U, 1000U, 100'000U}) {
    EXPECT_THAT(bodies_in(bytes, piece),
                ElementsAre("call", "", "kiln", std::string(5000, 'a'), "shave", "400"))
        << piece;
  }
}

TEST(WebRequest, IsRefusedWhateverItHidesHoweverItsBytesCome) {
  for (const Smuggling& smuggling : smugglings()) {
    const bool is_for_the_server =  // to judge
        smuggling.name.find(" with a body") != std::string::npos;
    for (const std::size_t piece : {1U, 2U, 3U, 11U, 100'000U}) {
      const auto bodies = bodies_in(smuggling.bytes, piece);
      if (is_for_the_server) {
        EXPECT_THAT(bodies, ElementsAre("call", "hidden")) << smuggling.name;
      } else {
        EXPECT_THAT(bodies, ElementsAre(::testing::AnyOf("400", "411", "413")))
            << smuggling.name << " in pieces of " << piece;
      }
    }
  }
}

TEST(WebRequest, IsRefusedAsSoonAsItIsKnownToBeBad) {
  EXPECT_THAT(bodies_in("\n", 1), ElementsAre("400"));
  EXPECT_THAT(bodies_in("POST /knock HTTP/1.1\n", 1), ElementsAre("400"));
  EXPECT_THAT(bodies_in("POST \x7f", 1), ElementsAre("400"));
  EXPECT_THAT(bodies_in("POST", 1), IsEmpty());
}

}  // namespace
}  // namespace plexor::rig
