#include "intake/reach.h"

#include <fcntl.h>
#include <netdb.h>
#include <poll.h>
#include <sys/socket.h>
#include <unistd.h>

#include <cerrno>
#include <memory>
#include <system_error>

namespace baskwell::intake {
namespace {

constexpr int patience_ms = 1000;
constexpr int addresses_max = 3;

// 0, or the errno of the attempt.
int try_address(const addrinfo& address) {
  const int fd =
      ::socket(address.ai_family, address.ai_socktype | SOCK_NONBLOCK | SOCK_CLOEXEC, address.ai_protocol);
  if (fd < 0) return errno;
  int error = 0;
  if (::connect(fd, address.ai_addr, address.ai_addrlen) != 0) {
    error = errno;
    if (error == EINPROGRESS) {
      pollfd waiting{.fd = fd, .events = POLLOUT, .revents = 0};
      error = ETIMEDOUT;
      socklen_t size = sizeof error;
      if (::poll(&waiting, 1, patience_ms) > 0) ::getsockopt(fd, SOL_SOCKET, SO_ERROR, &error, &size);
    }
  }
  ::close(fd);
  return error;
}

}  // namespace

std::optional<std::string> why_unreachable(const std::string& host, std::uint16_t port) {
  addrinfo wanted{};
  wanted.ai_socktype = SOCK_STREAM;
  addrinfo* found = nullptr;
  const int looked_up = ::getaddrinfo(host.c_str(), std::to_string(port).c_str(), &wanted, &found);
  if (looked_up != 0) return "the name '" + host + "' is not known: " + ::gai_strerror(looked_up);
  const std::unique_ptr<addrinfo, void (*)(addrinfo*)> addresses(found, &::freeaddrinfo);
  int error = EHOSTUNREACH;
  int tried = 0;
  for (const addrinfo* one = found; one != nullptr && tried < addresses_max; one = one->ai_next, ++tried) {
    error = try_address(*one);
    if (error == 0) return std::nullopt;
  }
  return std::system_category().message(error);
}

}  // namespace baskwell::intake
