#pragma once

#include <fmt/format.h>

#include <string>
#include <string_view>
#include <vector>

namespace plexor::rig {

inline constexpr std::string_view right_token = "kiln-2f61c0";

/// A request as bytes.
struct Post {
  std::string path = "/knock/panel";
  std::string token{right_token};
  std::string type = "text/plain";
  std::string more{};  ///< header lines
  std::string method = "POST";

  /// With this body and its length.
  [[nodiscard]] std::string with(std::string_view body) const {
    return head(fmt::format("Content-Length: {}\r\n", body.size())) + std::string(body);
  }
  [[nodiscard]] std::string head(const std::string& length) const {
    std::string text = fmt::format("{} {} HTTP/1.1\r\nHost: rig\r\n", method, path);
    if (!token.empty()) text += "Authorization: Bearer " + token + "\r\n";
    if (!type.empty()) text += "Content-Type: " + type + "\r\n";
    return text + more + length + "\r\n";
  }
};

/// Somebody hides a second request behind a first one that is read in two ways.
struct Smuggling {
  std::string name;
  std::string bytes;
};

inline std::vector<Smuggling> smugglings() {
  const std::string hidden = Post{}.with("hidden");
  const std::string chunked = "Transfer-Encoding: chunked\r\n";
  const std::string chunks = "4\r\ncall\r\n0\r\n\r\n";
  std::vector<Smuggling> table;
  const auto add = [&](const std::string& name, const std::string& bytes) {
    table.push_back({name, bytes + hidden});
  };
  const auto lines = [&](const std::string& name, const std::string& length,
                         const std::string& body) { add(name, Post{}.head(length) + body); };
  lines("length and coding", "Content-Length: 4\r\n" + chunked, chunks);
  lines("coding and length", chunked + "Content-Length: 4\r\n", chunks);
  lines("length zero and coding", "Content-Length: 0\r\n" + chunked, chunks);
  lines("two lengths", "Content-Length: 4\r\nContent-Length: 0\r\n", "call");
  lines("the same length twice", "Content-Length: 4\r\nContent-Length: 4\r\n", "call");
  lines("a list of lengths", "Content-Length: 4, 4\r\n", "call");
  for (const char* length :
       {"+4", "-4", "0x4", "4 4", "4;4", "4.0", "", "four", "\"4\"", "18446744073709551620"}) {
    lines(fmt::format("length \"{}\"", length), fmt::format("Content-Length: {}\r\n", length),
          "call");
  }
  for (const char* coding :
       {"gzip", "gzip, chunked", "chunked, gzip", "chunked, chunked", "xchunked", "chunked;q=1",
        "identity", "\"chunked\"", "chunked,", "", "\vchunked", "chunked\x01"}) {
    lines(fmt::format("coding \"{}\"", coding), fmt::format("Transfer-Encoding: {}\r\n", coding),
          chunks);
  }
  lines("two codings", "Transfer-Encoding: gzip\r\n" + chunked, chunks);
  lines("the same coding twice", chunked + chunked, chunks);
  lines("no length", "", "");
  lines("space before the colon of a length", "Content-Length : 4\r\n", "call");
  lines("space before the colon of a coding", "Transfer-Encoding : chunked\r\n", chunks);
  lines("tab before the colon of a coding", "Transfer-Encoding\t: chunked\r\n", chunks);
  lines("space before a name", " Content-Length: 4\r\n", "call");
  lines("folded length", "Content-Length:\r\n 4\r\n", "call");
  lines("folded coding", "Transfer-Encoding:\r\n\tchunked\r\n", chunks);
  lines("folded note", "Content-Length: 4\r\nX-Note: a\r\n b\r\n", "call");
  lines("line end without CR", "Content-Length: 4\nX-Note: a\r\n", "call");
  lines("line end without LF", "Content-Length: 4\rX-Note: a\r\n", "call");
  lines("CR within a value", "X-Note: a\rTransfer-Encoding: chunked\r\nContent-Length: 4\r\n",
        "call");
  lines("zero byte", "Content-Length: 4\r\nX-Note: a" + std::string(1, '\0') + "b\r\n", "call");
  lines("no name", ": 4\r\nContent-Length: 4\r\n", "call");
  lines("no colon", "Content-Length 4\r\n", "call");
  lines("two hosts", "Host: other\r\nContent-Length: 4\r\n", "call");
  lines("two tokens", "Authorization: Bearer other\r\nContent-Length: 4\r\n", "call");
  lines("two types", "Content-Type: text/plain\r\nContent-Length: 4\r\n", "call");
  for (const char* body :
       {"+4\r\ncall\r\n0\r\n\r\n", "-4\r\ncall\r\n0\r\n\r\n", "0x4\r\ncall\r\n0\r\n\r\n",
        " 4\r\ncall\r\n0\r\n\r\n", "4 \r\ncall\r\n0\r\n\r\n", "4\ncall\r\n0\r\n\r\n",
        "4\r\ncall\n0\r\n\r\n", "4\r\ncalls\r\n0\r\n\r\n", "4\r\ncal\r\n0\r\n\r\n",
        "4;a=b\r\ncall\r\n0\r\n\r\n", "4;a=\"\n\"\r\ncall\r\n0\r\n\r\n", "4;\r\ncall\r\n0\r\n\r\n",
        "4\r\ncall\r\n0;a\r\n\r\n", "4\r\ncall\r\n0\r\nX-Note: a\r\n\r\n",
        "4\r\ncall\r\n0\r\nContent-Length: 4\r\n\r\n", "10000000000000004\r\ncall\r\n0\r\n\r\n",
        "\r\n4\r\ncall\r\n0\r\n\r\n", "g\r\ncall\r\n0\r\n\r\n"}) {
    lines(fmt::format("chunks \"{}\"", body), chunked, body);
  }
  const std::string post = Post{}.head("Content-Length: 4\r\n") + "call";
  const std::string version = "HTTP/1.1";
  const auto changed = [&](std::string text, const std::string& from, const std::string& to) {
    return text.replace(text.find(from), from.size(), to);
  };
  add("coding in HTTP/1.0", changed(Post{}.head(chunked) + chunks, version, "HTTP/1.0"));
  add("HTTP/1.2", changed(post, version, "HTTP/1.2"));
  add("HTTP/2.0", changed(post, version, "HTTP/2.0"));
  add("no version", changed(post, " " + version, ""));
  add("two spaces", changed(post, " " + version, "  " + version));
  add("tab for a space", changed(post, " " + version, "\t" + version));
  add("no host", changed(post, "Host: rig\r\n", ""));
  add("first line end without CR", changed(post, "\r\nHost", "\nHost"));
  add("empty line at first", "\r\n" + post);
  add("GET with a body", Post{.method = "GET"}.with("call"));
  add("wrong token with a body", Post{.token = "wrong"}.with("call"));
  add("wrong path with a body", Post{.path = "/"}.with("call"));
  add("wrong type with a body", Post{.type = "text/html"}.with("call"));
  add("too large a body", Post{}.with(std::string(70'000, 'a')));
  return table;
}

}  // namespace plexor::rig
