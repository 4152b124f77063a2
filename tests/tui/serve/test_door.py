"""Who is let in: a link once, a cookie that only the page's own computer gets back, no page but ours."""

from typing import Any

import pytest
from aiohttp import WSServerHandshakeError

from tui.serve.door import Door

ELSEWHERE = "http://elsewhere.example"


async def test_without_the_token_nothing_is_answered(serving: Any) -> None:
    site = await serving()
    for path in ("/", "/?token=", "/?token=guessed", "/static/page.js", "/socket", "/download/x", "/nothing"):
        assert (await site.client.get(path)).status == 403, path
    with pytest.raises(WSServerHandshakeError, match="403"):
        await site.socket()
    assert site.came_in == []


async def test_the_link_opens_once_and_leaves_a_cookie_no_script_and_no_other_site_can_use(serving: Any) -> None:
    site = await serving()
    link = site.link()
    answer = await site.client.get(link)
    assert answer.status == 200
    (cookie,) = answer.cookies.values()
    assert (cookie["httponly"], cookie["samesite"], cookie["path"]) == (True, "Strict", "/")
    assert (cookie["domain"], cookie["max-age"]) == ("", ""), "this computer's alone, and gone with the browser"
    assert len(cookie.value) >= 43, "256 bits"
    assert (await site.client.get("/")).status == 200, "the cookie is enough from then on"
    site.client.session.cookie_jar.clear()
    assert (await site.client.get(link)).status == 403
    assert site.came_in == ["127.0.0.1"]


async def test_a_new_link_ends_the_one_before(serving: Any) -> None:
    site = await serving()
    before, after = site.link(), site.link()
    assert (await site.client.get(before)).status == 403
    assert (await site.client.get(after)).status == 200


async def test_a_foreign_page_is_refused_on_page_and_socket_even_with_the_cookie(serving: Any) -> None:
    site = await serving()
    assert (await site.client.get(site.link(), headers={"Origin": ELSEWHERE})).status == 403
    await site.come_in()
    assert (await site.client.get("/", headers={"Origin": ELSEWHERE})).status == 403
    assert (await site.client.get("/", headers={"Origin": "null"})).status == 403
    with pytest.raises(WSServerHandshakeError, match="403"):
        await site.socket(Origin=ELSEWHERE)
    assert (await site.client.get("/socket")).status == 403, "a socket is only opened by a page, which says so"
    assert (await site.client.get("/", headers={"Host": "elsewhere.example"})).status == 403, "a name made to mean us"


async def test_the_page_asks_nothing_of_anybody_else(serving: Any) -> None:
    site = await serving()
    answer = await site.client.get(site.link())
    page = await answer.text()
    assert 'name="viewport"' in page
    assert "http" not in page
    policy = answer.headers["Content-Security-Policy"]
    assert "default-src 'none'" in policy
    assert "frame-ancestors 'none'" in policy
    for name in ("page.js", "page.css", "xterm.css", "textual.js"):
        assert (await site.client.get(f"/static/{name}")).status == 200, name
    for name in ("../server.py", "..%2fserver.py", "nothing.js"):
        assert (await site.client.get(f"/static/{name}")).status == 404, name


@pytest.mark.parametrize(
    ("host", "origin", "ours"),
    [
        ("192.168.4.2:8321", None, True),
        ("192.168.4.2:8321", "http://192.168.4.2:8321", True),
        ("192.168.4.2:8321", "http://192.168.4.2", False),
        ("192.168.4.2:8321", "https://192.168.4.2:8321", False),
        ("[fe80::1]:8321", "http://[fe80::1]:8321", True),
        ("localhost:8321", None, True),
        ("slope.example:8321", "http://slope.example:8321", False),
        ("", None, False),
    ],
)
def test_only_names_that_mean_this_computer_are_ours(host: str, origin: str | None, *, ours: bool) -> None:
    assert Door("127.0.0.1").is_ours(host, origin) is ours
